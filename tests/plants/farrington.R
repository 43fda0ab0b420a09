# Alarms of farringtonFlexible (A. Noufaily et al., Statistics in Medicine 32 (2013) 1206-1222; R package
# surveillance) on weekly counts: a column a series on standard input, "series,week" (from 0) on standard output.
# A plant has weeks, not years: a "year" of three weeks and a window of one on either side make its baseline all weeks
# but the last three. First argument: alpha.
suppressPackageStartupMessages(library(surveillance))
alpha <- as.numeric(commandArgs(TRUE)[1])
counts <- as.matrix(read.csv(file("stdin"), check.names = FALSE))
before <- 3
for (k in seq_len(ncol(counts))) {
  series <- sts(observed = counts[, k], frequency = before, start = c(2001, 1))
  for (t in seq_len(nrow(counts))) {
    years <- (t - 2) %/% before
    # limit54: fewer than three in four weeks are no alarm, fitted or not
    if (years < 2 || counts[t, k] == 0 || sum(counts[max(1, t - 3):t, k]) < 3) next
    control <- list(range = t, b = years, w = 1, pastWeeksNotIncluded = before, noPeriods = 1, trend = FALSE,
                    reweight = TRUE, weightsThreshold = 2.58, thresholdMethod = "nbPlugin", alpha = alpha,
                    limit54 = c(3, 4), glmWarnings = FALSE)
    found <- tryCatch(suppressWarnings(alarms(farringtonFlexible(series, control))), error = function(e) FALSE)
    if (isTRUE(as.logical(found))) cat(colnames(counts)[k], ",", t - 1, "\n", sep = "")
  }
}
