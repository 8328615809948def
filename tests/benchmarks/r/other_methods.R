# Limits of the wear rates by lmerTest for every trial of a file. Rscript other_methods.R readings.csv limits.csv
# Columns in: trial, type (0 or 1), truck, miles (thousands), height. Out: trial, quantity, low, high.
suppressPackageStartupMessages({library(lme4); library(lmerTest)})
files <- commandArgs(TRUE)
readings <- read.csv(files[1])
readings$type <- factor(readings$type)
readings$truck <- factor(readings$truck)
control <- lmerControl(check.conv.singular = "ignore", check.conv.grad = "ignore", check.conv.hess = "ignore")
weights <- list(rate_0 = c(0, 0, -1, 0), rate_1 = c(0, 0, 0, -1), difference = c(0, 0, -1, 1))

limits <- lapply(split(readings, readings$trial), function(trial) {
  fit <- try(lmer(height ~ 0 + type + type:miles + (miles | truck), droplevels(trial), control = control), silent = TRUE)
  rows <- lapply(names(weights), function(name) {
    found <- if (inherits(fit, "try-error")) fit else try(contest1D(fit, weights[[name]], confint = TRUE), silent = TRUE)
    ends <- if (inherits(found, "try-error")) c(NA, NA) else c(found$lower, found$upper)
    data.frame(trial = trial$trial[1], quantity = name, low = ends[1], high = ends[2])
  })
  do.call(rbind, rows)
})
write.csv(do.call(rbind, limits), files[2], row.names = FALSE)
