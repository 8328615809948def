# Reference values for blocked comparisons and ordered scores. Run from anywhere: Rscript tests/published/r/clearing.R
# Made with R 4.2.2, lme4 1.1-31, lmerTest 3.1-3, pbkrtest 0.5.2. Writes data/clearing_reference.csv.
suppressPackageStartupMessages({library(lme4); library(lmerTest); library(pbkrtest)})

here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE)))
data_dir <- file.path(here, "..", "data")
read <- function(name) read.csv(file.path(data_dir, paste0(name, ".csv")), comment.char = "#")
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-8, maxfun = 1e5),
                       check.conv.singular = "ignore", check.conv.grad = "ignore", check.conv.hess = "ignore")
rows <- list()
say <- function(case, quantity, value) {
  rows[[length(rows) + 1]] <<- sprintf("%s,%s,%s", case, quantity, formatC(value, digits = 10, format = "g", width = 1))
}

# Variances, and each coefficient whose name starts with `prefix` with its Kenward-Roger standard error and df.
mixed <- function(case, formula, data, prefix) {
  fit <- lmerTest::lmer(formula, data, control = control)
  say(case, "singular", as.numeric(isSingular(fit)))
  say(case, "variance error", sigma(fit)^2)
  terms <- VarCorr(fit)
  for (name in names(terms)) say(case, paste("variance", name), terms[[name]][1, 1])
  names <- names(fixef(fit))
  for (k in which(startsWith(names, prefix))) {
    weights <- as.numeric(seq_along(names) == k)
    found <- contest1D(fit, weights, ddf = "Kenward-Roger")
    say(case, paste(names[k], "estimate"), found$Estimate)
    say(case, paste(names[k], "std_error"), found$`Std. Error`)
    say(case, paste(names[k], "df"), found$df)
  }
}

shifts <- read("clearing_invented")
shifts$edge <- factor(shifts$edge, levels = c("steel", "rubber", "insert"))
shifts$y <- log(shifts$rate)
of <- function(name) droplevels(shifts[shifts$season == name, ])
mixed("separate", y ~ storm + edge + (1 | truck), of("separate"), "edge")
mixed("separate adjusted", y ~ storm + edge + log(lane_miles) + surface + (1 | truck), of("separate"), "edge")
mixed("rotated", y ~ storm + edge + (1 | truck) + (1 | truck:edge), of("rotated"), "edge")
mixed("mixed", y ~ storm + edge + (1 | truck) + (1 | truck:edge), of("mixed"), "edge")
mixed("mixed adjusted", y ~ storm + edge + log(lane_miles) + surface + (1 | truck) + (1 | truck:edge), of("mixed"), "edge")

beets <- read("beets")
mixed("beets", sugpct ~ block + sow + harvest + (1 | block:harvest), beets, "harvest")

# The classical analysis of balanced trucks: edge types against the spread of trucks, whatever its size.
for (case in c("alike", "agreeing")) {
  alike <- of(case)
  strata <- summary(aov(y ~ storm + edge + Error(truck), alike))
  ms <- strata$`Error: truck`[[1]]["Residuals", "Mean Sq"]
  means <- tapply(alike$y, alike$edge, mean)
  say(case, "truck mean square", ms)
  say(case, "error mean square", strata$`Error: Within`[[1]]["Residuals", "Mean Sq"])
  say(case, "error df", strata$`Error: Within`[[1]]["Residuals", "Df"])
  say(case, "edgerubber estimate", means[["rubber"]] - means[["steel"]])
  say(case, "edgerubber std_error", sqrt(ms * sum(1 / table(alike$edge))))
  say(case, "edgerubber df", strata$`Error: truck`[[1]]["Residuals", "Df"])
}

# Split plot of oats (Yates 1935; MASS::oats): varieties on whole plots, nitrogen within them.
oats <- read("oats")
d <- summary(aov(Y ~ N + V + Error(B / V), oats))
ms <- d$`Error: B:V`[[1]]
say("oats", "F V", ms["V", "F value"])
say("oats", "p V", ms["V", "Pr(>F)"])
say("oats", "whole-plot mean square", ms["Residuals", "Mean Sq"])
say("oats", "df", ms["Residuals", "Df"])
mixed("oats", Y ~ B + N + V + (1 | B:V), oats, "V")

# Ordered scores: exact two-sided p by going through all ways to choose the first sample, and of all exchanges of pairs.
p_choice <- function(x, y) {
  all <- rank(c(x, y)); n <- length(x); centre <- n * (length(all) + 1) / 2
  far <- abs(combn(length(all), n, function(i) sum(all[i])) - centre)
  mean(far >= abs(sum(all[seq_along(x)]) - centre) - 1e-9)
}
p_exchange <- function(d) {
  signs <- as.matrix(expand.grid(rep(list(c(-1, 1)), length(d))))
  mean(abs(signs %*% d) >= abs(sum(d)) - 1e-9)
}
few <- list(a = c(2.1, 3.4, 4.0, 2.8), b = c(1.5, 2.0, 3.1, 1.2, 2.2))
say("scores", "p of few by all choices", p_choice(few$a, few$b))
say("scores", "p of few by wilcox.test", wilcox.test(few$a, few$b, exact = TRUE)$p.value)
tied <- list(a = c(4, 5, 4, 3), b = c(3, 2, 3, 4))
say("scores", "p of tied by all choices", p_choice(tied$a, tied$b))

pairs <- list(a = c(4, 5, 3, 4, 2, 5), b = c(3, 3, 3, 2, 3, 1))
ranks <- rank(c(pairs$a, pairs$b))
say("scores", "p of pairs by all exchanges", p_exchange(ranks[1:6] - ranks[7:12]))

writeLines(c("# Source: Rscript tests/published/r/clearing.R (R 4.2.2, lme4 1.1-31, lmerTest 3.1-3, pbkrtest 0.5.2).",
             "case,quantity,value", unlist(rows)), file.path(data_dir, "clearing_reference.csv"))
