# Reference values for gauge studies: analysis of variance, and restricted likelihood where readings are missing.
# Run from this folder: Rscript gauge.R  (R 4.2.2, lme4 1.1-31). Prints 10 significant digits.
suppressMessages(library(lme4))
read <- function(name) read.csv(file.path("..", "data", paste0(name, ".csv")), comment.char = "#")
say <- function(what, value) cat(sprintf("%-44s %s\n", what, paste(formatC(value, digits = 10, format = "g"), collapse = "  ")))
crossed <- function(case, y, part, operator, p, o, r) {
  table <- anova(lm(y ~ factor(operator) * factor(part)))
  ms <- table[["Mean Sq"]]
  say(paste(case, "SS operator, part, interaction, error"), table[["Sum Sq"]])
  f <- ms[3] / ms[4]
  say(paste(case, "F and p of the interaction"), c(f, pf(f, table$Df[3], table$Df[4], lower.tail = FALSE)))
  pooled <- sum(table[["Sum Sq"]][3:4]) / sum(table$Df[3:4])
  pv <- (ms[2] - pooled) / (o * r); av <- (ms[1] - pooled) / (p * r)
  say(paste(case, "pooled EV, AV, GRR, PV, TV"), sqrt(c(pooled, av, pooled + av, pv, pooled + av + pv)))
  full <- c(ms[4], (ms[1] - ms[3]) / (p * r), (ms[3] - ms[4]) / r, (ms[2] - ms[3]) / (o * r))
  say(paste(case, "not pooled, variances EV, AV, INT, PV"), full)
  df <- sum(table$Df[3:4])
  say(paste(case, "pooled EV 95% low, high"), sqrt(pooled * df / qchisq(c(0.975, 0.025), df)))
}
g <- read("gauge_10x3x3")
crossed("10x3x3", g$y, g$part, g$appraiser, 10, 3, 3)
h <- read("gauge_3x3x3")
crossed("3x3x3", h$time1, h$prototype, h$operator, 3, 3, 3)
# readings 4, 18 and 41 missing
gap <- g[-c(4, 18, 41), ]
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-12, maxfun = 1e5))
fit <- lmer(y ~ 1 + (1 | part) + (1 | appraiser), gap, control = control)
say("10x3x3 with gaps, SD", as.data.frame(VarCorr(fit))$sdcor); print(as.data.frame(VarCorr(fit))$grp)
# with the interaction: cells in which two readings were moved apart, so that the interaction is there
gap$moved <- gap$y + 0.3 * ((as.integer(factor(gap$part)) * as.integer(factor(gap$appraiser))) %% 3 - 1)
fit <- lmer(moved ~ 1 + (1 | part) + (1 | appraiser) + (1 | part:appraiser), gap, control = control)
say("moved, with gaps, SD", as.data.frame(VarCorr(fit))$sdcor); print(as.data.frame(VarCorr(fit))$grp)
full <- anova(lm(moved ~ factor(appraiser) * factor(part), gap))
say("moved, F and p of the interaction", unlist(full[3, c("F value", "Pr(>F)")]))
