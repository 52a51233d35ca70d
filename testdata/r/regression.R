# Fits the published data sets with lm() of R and prints, for each coefficient,
# set, place, estimate and standard error, and for each set its residual
# standard deviation and R squared, all to 17 digits. The tests of package
# scoring run it where Rscript is installed and compare.
#
#   Rscript testdata/r/regression.R testdata/checkvalues

folder <- commandArgs(trailingOnly = TRUE)[1]
show <- function(set, fit) {
  s <- summary(fit)
  table <- s$coefficients
  for (i in seq_len(nrow(table)))
    cat(sprintf("%s\t%d\t%.17g\t%.17g\n", set, i - 1, table[i, 1], table[i, 2]))
  cat(sprintf("%s\tfit\t%.17g\t%.17g\n", set, s$sigma, s$r.squared))
}

houses <- read.csv(file.path(folder, "house_prices.csv"), comment.char = "#", stringsAsFactors = TRUE)
show("houses", lm(log(price) ~ driveway + recreation + fullbase + gasheat + aircon + garage + prefer +
  log(lotsize) + log(bedrooms) + log(bathrooms) + log(stories), data = houses))

# Longley stands in R itself; NIST gives the same figures in other units.
l <- datasets::longley
show("longley", lm(Employed ~ GNP.deflator + GNP + Unemployed + Armed.Forces + Population + Year, data = l))

# A design that lm() and this program must both handle: the powers of a column.
x <- 0:20
show("powers", lm(1 + x + x^2 + x^3 + cos(x) ~ x + I(x^2) + I(x^3)))
