# Reference values for the mixed model. Run from anywhere: Rscript tests/published/r/mixed_model.R
# Made with R 4.2.2, lme4 1.1-31, lmerTest 3.1-3, pbkrtest 0.5.2. Writes data/mixed_model_reference.csv.
# The optimizer (bobyqa, to a radius of 1e-7) holds more digits than the default, whose last ones are only about 1e-6.
suppressPackageStartupMessages({library(lme4); library(lmerTest); library(pbkrtest)})

here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE)))
data_dir <- file.path(here, "..", "data")
read <- function(name) read.csv(file.path(data_dir, paste0(name, ".csv")), comment.char = "#")
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-7, maxfun = 1e5),
                       check.conv.singular = "ignore", check.conv.grad = "ignore", check.conv.hess = "ignore")
rows <- list()
say <- function(case, quantity, value) {
  rows[[length(rows) + 1]] <<- sprintf("%s,%s,%s", case, quantity, formatC(value, digits = 10, format = "g", width = 1))
}

# Likelihood, variances and fixed effects of a fit, then each contrast with its Satterthwaite and Kenward-Roger values.
reference <- function(case, formula, data, contrasts = list(), REML = TRUE, coefficients = TRUE) {
  fit <- lmerTest::lmer(formula, data, REML = REML, control = control)
  say(case, "log likelihood", as.numeric(logLik(fit)))
  say(case, "residual variance", sigma(fit)^2)
  say(case, "singular", as.numeric(isSingular(fit)))
  terms <- VarCorr(fit)
  for (k in seq_along(terms)) {
    for (i in seq_len(nrow(terms[[k]]))) for (j in seq_len(i)) {
      level <- sub("[.][0-9]+$", "", names(terms)[k])
      say(case, paste("covariance", level, paste(rownames(terms[[k]]), collapse = "+"), i, j), terms[[k]][i, j])
    }
  }
  if (coefficients) for (i in seq_along(fixef(fit))) {
    say(case, paste("coefficient", i), fixef(fit)[[i]])
    say(case, paste("std error", i), sqrt(vcov(fit)[i, i]))
  }
  for (name in names(contrasts)) {
    weights <- contrasts[[name]]
    satterthwaite <- contest1D(fit, weights, ddf = "Satterthwaite")
    say(case, paste(name, "estimate"), satterthwaite$Estimate)
    say(case, paste(name, "std_error"), satterthwaite$`Std. Error`)
    say(case, paste(name, "df_satterthwaite"), satterthwaite$df)
    if (REML) {
      kenward_roger <- contest1D(fit, weights, ddf = "Kenward-Roger")
      say(case, paste(name, "std_error_kr"), kenward_roger$`Std. Error`)
      say(case, paste(name, "df_kr"), kenward_roger$df)
    }
  }
  invisible(fit)
}

line <- list(intercept = c(1, 0), slope = c(0, 1))
sleep <- read("sleepstudy"); sleep$Subject <- factor(sleep$Subject)
reference("sleepstudy", Reaction ~ Days + (Days | Subject), sleep, line)
reference("sleepstudy ML", Reaction ~ Days + (Days | Subject), sleep, line, REML = FALSE)
reference("sleepstudy uncorrelated", Reaction ~ Days + (Days || Subject), sleep, line)
reference("sleepstudy random intercept", Reaction ~ Days + (1 | Subject), sleep, line)
few <- read("sleepstudy_unbalanced"); few$Subject <- factor(few$Subject)
reference("sleepstudy unbalanced", Reaction ~ Days + (Days | Subject), few, line)
six <- read("sleepstudy_6units_2groups"); six$Subject <- factor(six$Subject)
reference("sleepstudy 6 units", Reaction ~ Days * grp + (Days | Subject), six,
          list("slope A" = c(0, 1, 0, 0), "slope B" = c(0, 1, 0, 1), "slope B - A" = c(0, 0, 0, 1)))

teeth <- read("orthodont"); teeth$Sex <- factor(teeth$Sex, levels = c("Male", "Female"))
reference("orthodont", distance ~ age * Sex + (age | Subject), teeth,
          list("slope male" = c(0, 1, 0, 0), "slope female" = c(0, 1, 0, 1), "female - male" = c(0, 0, 0, 1)))

trees <- read("orange"); trees$x <- trees$age / 100; trees$Tree <- factor(trees$Tree)
reference("orange", circumference ~ x + (x | Tree), trees, line)
reference("orange slope only", circumference ~ x + (0 + x | Tree), trees, line)

reference("rail", travel ~ 1 + (1 | Rail), read("rail"), list(mean = 1))
reference("dyestuff", Yield ~ 1 + (1 | Batch), read("dyestuff"), list(mean = 1))
reference("dyestuff2", Yield ~ 1 + (1 | Batch), read("dyestuff2"), list(mean = 1))
reference("pastes", strength ~ 1 + (1 | batch) + (1 | batch:cask), read("pastes"), list(mean = 1))
beets <- read("beets")
reference("beets", sugpct ~ block + sow + harvest + (1 | block:harvest), beets, list(harvest = c(rep(0, 7), 1)))

shoes <- read("shoes")
pairs <- data.frame(boy = factor(rep(shoes$boy, 2)), B = rep(0:1, each = 10), wear = c(shoes$A, shoes$B))
reference("shoes", wear ~ B + (1 | boy), pairs, list("B - A" = c(0, 1)))

laser <- read("gaaslaser"); laser$x <- laser$hours / 1000
reference("laser through origin", increase ~ 0 + x + (0 + x | unit), laser[laser$hours > 0, ], list(slope = 1))
reference("laser line", increase ~ x + (x | unit), laser, line)

drift <- read("tob216b_threshold_voltage"); drift$x <- drift$time_h / 1000
reference("tob216b", volts ~ x + (x | component), drift, line)

metal <- read("metalwear"); metal$g <- factor(metal$grams); metal$unit <- factor(metal$unit)
metal$lx <- log(metal$cycles); metal$ly <- log(metal$microns)
loads <- list("slope 10" = c(0, 0, 0, 1, 0, 0), "50 - 10" = c(0, 0, 0, -1, 1, 0), "100 - 10" = c(0, 0, 0, -1, 0, 1),
              "100 - 50" = c(0, 0, 0, 0, -1, 1), "100 - 50 at 500" = c(0, -1, 1, 0, -log(500), log(500)))
reference("metalwear log-log", ly ~ 0 + g + lx:g + (lx | unit), metal, loads)
metal$x <- metal$cycles / 100
late <- metal[metal$cycles >= 50, ]
reference("metalwear linear", microns ~ 0 + g + x:g + (x | unit), late, loads[1:4])

# The wear model: own intercept for each segment, slope variance by type, fixed slopes of stations within types, rates
# per 1000 of the unit of x as means of the station slopes weighted by the sum of squares of x behind them.
types <- c("10", "50", "100")
for (type in types) late[[paste0("x", type)]] <- ifelse(late$g == type, late$cycles / 1000, 0)
reference("wear metalwear", microns ~ 0 + unit + x10 + x50 + x100 + (0 + x10 | unit) + (0 + x50 | unit) + (0 + x100 | unit),
          late, list("10" = c(rep(0, 12), 1, 0, 0), "50" = c(rep(0, 12), 0, 1, 0), "100" = c(rep(0, 12), 0, 0, 1),
                     "50 - 10" = c(rep(0, 12), -1, 1, 0), "100 - 10" = c(rep(0, 12), -1, 0, 1)),
          coefficients = FALSE)

wear <- read("wear_invented")
wear$wear <- -wear$height_in
wear$x <- (wear$miles_mi - ave(wear$miles_mi, wear$segment)) / 1000
wear$segment <- factor(wear$segment)
wear$slope <- interaction(wear$edge_type, wear$station, drop = TRUE, sep = " ")
fixed <- sapply(levels(wear$slope), function(level) ifelse(wear$slope == level, wear$x, 0))
types <- unique(wear$edge_type)
for (type in types) wear[[substr(type, 1, 3)]] <- ifelse(wear$edge_type == type, wear$x, 0)
share <- tapply(wear$x^2, wear$slope, sum)
of_type <- sub(" .*", "", levels(wear$slope))
n_segments <- nlevels(wear$segment)
rate <- function(type) {
  weights <- ifelse(of_type == type, share, 0)
  c(rep(0, n_segments), weights / sum(weights))
}
rates <- setNames(lapply(types, rate), types)
gaps <- setNames(lapply(types[-1], function(type) rates[[type]] - rates[[1]]), paste(types[-1], "-", types[1]))
reference("wear invented", wear ~ 0 + segment + fixed + (0 + pla | truck_unit) + (0 + car | truck_unit) +
            (0 + rub | truck_unit) + (0 + car | truck_unit:set_id), wear, c(rates, gaps), coefficients = FALSE)

versions <- sapply(c("lme4", "lmerTest", "pbkrtest"), function(p) paste(p, packageVersion(p)))
head <- sprintf("# Source: Rscript tests/published/r/mixed_model.R, %s, %s.", R.version.string, paste(versions, collapse = ", "))
writeLines(c(head, "case,quantity,value", unlist(rows)), file.path(data_dir, "mixed_model_reference.csv"))
