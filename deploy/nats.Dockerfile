# A server of the cluster: the image as it is published, with a folder for its
# files that a user without rights may write to.
FROM nats:2.14.9-alpine
COPY nats.conf /etc/nats/nats.conf
RUN mkdir -m 0700 /data && chown 65532:65532 /data
USER 65532:65532
VOLUME /data
ENTRYPOINT ["nats-server"]
CMD ["-c", "/etc/nats/nats.conf"]
