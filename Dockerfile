# Two stages: build with the Go image, run with nothing but the program.
FROM golang:1.26-bookworm AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN CGO_ENABLED=0 go build -trimpath -ldflags "-s -w" -o /asfound .
RUN mkdir -m 0700 /registry /key

FROM scratch
COPY --from=build /asfound /asfound
COPY --from=build --chown=65532:65532 /registry /registry
COPY --from=build --chown=65532:65532 /key /key
USER 65532:65532
ENV ASFOUND_DIR=/registry
VOLUME /registry
EXPOSE 8350
ENTRYPOINT ["/asfound"]
CMD ["serve"]
