# Reference values for life data. Run from anywhere: Rscript tests/published/r/life_data.R
# Made with R 4.2.2, survival 3.5-3. Prints: case, quantity, value (10 significant digits).
suppressPackageStartupMessages(library(survival))

here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE)))
read <- function(name) read.csv(file.path(here, "..", "data", paste0(name, ".csv")), comment.char = "#")
say <- function(case, quantity, value) {
  cat(sprintf("%s,%s,%s\n", case, quantity, ifelse(is.na(value), "NA", formatC(value, digits = 10, format = "g"))))
}

# Likelihood-ratio ends of a quantile: the profile of the log-likelihood with log t_p held, over log sigma.
ratio_ends <- function(loglik, mu, lsig, off, qs, width, drop = qchisq(0.95, 1) / 2) {
  top <- loglik(c(mu, lsig))
  centre <- mu + exp(lsig) * off
  profile <- function(q) {
    optimize(function(s) loglik(c(q - exp(s) * off, s)), lsig + c(-4, 4), maximum = TRUE, tol = 1e-12)$objective
  }
  gap <- function(q) top - profile(q) - drop
  c(uniroot(gap, centre + c(-width, 0), tol = 1e-13)$root, uniroot(gap, centre + c(0, width), tol = 1e-13)$root)
}

weibull <- function(case, time, failed, count = rep(1, length(time)), quantiles = c(0.1, 0.5)) {
  fit <- survreg(Surv(time, failed) ~ 1, dist = "weibull", weights = count,
                 control = survreg.control(rel.tolerance = 1e-13, maxiter = 200))
  mu <- unname(coef(fit)); lsig <- log(fit$scale); v <- vcov(fit)
  loglik <- function(p) {
    z <- (log(time) - p[1]) / exp(p[2])
    sum(count * (failed * (z - p[2] - log(time)) - exp(z)))
  }
  say(case, "shape", exp(-lsig)); say(case, "scale", exp(mu)); say(case, "loglik", loglik(c(mu, lsig)))
  say(case, "AIC", 4 - 2 * loglik(c(mu, lsig)))
  say(case, "se log scale", sqrt(v[1, 1])); say(case, "se log shape", sqrt(v[2, 2]))
  say(case, "cov log scale log shape", -v[1, 2])
  ends <- exp(-lsig + c(-1, 1) * qnorm(0.975) * sqrt(v[2, 2]))
  say(case, "shape Wald low", ends[1]); say(case, "shape Wald high", ends[2])
  say(case, "mean", exp(mu) * gamma(1 + exp(lsig)))
  say(case, "sd", exp(mu) * sqrt(gamma(1 + 2 * exp(lsig)) - gamma(1 + exp(lsig))^2))
  for (p in quantiles) {
    off <- log(-log(1 - p)); q <- mu + exp(lsig) * off
    g <- c(1, exp(lsig) * off); se <- sqrt(drop(t(g) %*% v %*% g))
    say(case, paste0("t", p), exp(q))
    say(case, paste0("t", p, " Wald low"), exp(q - qnorm(0.975) * se))
    say(case, paste0("t", p, " Wald high"), exp(q + qnorm(0.975) * se))
    ends <- exp(ratio_ends(loglik, mu, lsig, off, p, max(4 * se, 2)))
    say(case, paste0("t", p, " LR low"), ends[1]); say(case, paste0("t", p, " LR high"), ends[2])
  }
}

d <- read("nist_weibull_censored"); weibull("nist", d$time, d$failed)
d <- read("shock_absorber"); weibull("shock", d$distance_km, d$failed)
for (m in c("Mode1", "Mode2")) weibull(paste("shock", m), d$distance_km, as.numeric(d$mode == m), quantiles = 0.1)
shock <- survfit(Surv(d$distance_km, d$failed) ~ 1)
for (t in shock$time[shock$n.event > 0]) {
  s <- summary(shock, times = t); say("shock KM", paste0("S(", t, ")"), s$surv); say("shock KM", paste0("se(", t, ")"), s$std.err)
}
d <- read("lz_ball_bearings"); weibull("bearings", d$megacycles, rep(1, nrow(d)))
d <- read("bearing_cage"); weibull("cage", d$hours, d$failed, d$count, quantiles = 0.1)
d <- read("genfan"); weibull("fans", d$hours, d$status)
d <- read("truck_tires_censored"); weibull("tires", d$time, d$failed, quantiles = 0.1)

# Cracks found at inspections: interval-censored, with the two usual shortcuts beside it.
d <- read("cracks_inspection"); n_whole <- 167 - sum(d$fail)
low <- c(0, d$days); high <- c(d$days, NA); count <- c(d$fail, n_whole)
fit <- survreg(Surv(ifelse(low == 0, NA, low), high, type = "interval2") ~ 1, weights = count,
               control = survreg.control(rel.tolerance = 1e-13, maxiter = 200))
say("cracks", "shape", 1 / fit$scale); say("cracks", "scale", exp(coef(fit))); say("cracks", "loglik", fit$loglik[1])
v <- vcov(fit); say("cracks", "se log scale", sqrt(v[1, 1])); say("cracks", "se log shape", sqrt(v[2, 2]))
failed <- !is.na(high)
for (how in c("mid", "end")) {
  time <- ifelse(failed, if (how == "mid") (low + high) / 2 else high, low)
  fit <- survreg(Surv(time, failed) ~ 1, weights = count, control = survreg.control(rel.tolerance = 1e-13, maxiter = 200))
  say(paste("cracks", how), "shape", 1 / fit$scale); say(paste("cracks", how), "scale", exp(coef(fit)))
}

# Kaplan-Meier
d <- read("aml")
for (g in unique(d$group)) {
  x <- d[d$group == g, ]; at <- if (g == "Maintained") 18 else 12
  for (type in c("log", "plain", "log-log")) {
    fit <- survfit(Surv(time, status) ~ 1, data = x, conf.type = type)
    s <- summary(fit, times = at)
    if (type == "log") for (t in fit$time[fit$n.event > 0]) {
      one <- summary(fit, times = t); say(g, paste0("S(", t, ")"), one$surv); say(g, paste0("se(", t, ")"), one$std.err)
    }
    say(g, paste0("S(", at, ") low ", type), s$lower); say(g, paste0("S(", at, ") high ", type), s$upper)
    q <- quantile(fit, 0.5)
    say(g, paste("median", type), q$quantile); say(g, paste("median low", type), q$lower); say(g, paste("median high", type), q$upper)
  }
  m <- summary(fit, rmean = 45)$table; say(g, "rmean 45", m[["rmean"]]); say(g, "se rmean 45", m[["se(rmean)"]])
}
fit <- survfit(Surv(c(1, 2, 3, 4), c(1, 1, 1, 0)) ~ 1); say("flat", "median", quantile(fit, 0.5)$quantile)
fit <- survfit(Surv(c(1, 2, 3, 4), c(1, 1, 0, 0)) ~ 1); say("flat to the end", "median", quantile(fit, 0.5)$quantile)

# Exact counts
for (x in c(0, 1, 5, 10)) {
  ends <- poisson.test(x)$conf.int; say(paste("poisson", x), "low", ends[1]); say(paste("poisson", x), "high", ends[2])
}
say("poisson 0", "one-sided high", poisson.test(0, alternative = "less")$conf.int[2])
say("poisson 137/24.19893", "rate", 137 / 24.19893)
ends <- poisson.test(137, 24.19893)$conf.int; say("poisson 137/24.19893", "low", ends[1]); say("poisson 137/24.19893", "high", ends[2])
two <- poisson.test(c(11, 6 + 8 + 7), c(800, 1083 + 1050 + 878))
say("two rates", "ratio", two$estimate); say("two rates", "low", two$conf.int[1]); say("two rates", "high", two$conf.int[2])
tails <- c(pbinom(11, 32, 800 / 3811), 1 - pbinom(10, 32, 800 / 3811)); say("two rates", "p (twice the smaller tail)", 2 * min(tails))
none <- poisson.test(c(4, 0), c(1000, 1500)); say("two rates 4, 0", "low", none$conf.int[1]); say("two rates 4, 0", "high", none$conf.int[2])
ends <- binom.test(0, 10)$conf.int; say("share 0/10", "high", ends[2])
ends <- binom.test(3, 10)$conf.int; say("share 3/10", "low", ends[1]); say("share 3/10", "high", ends[2])
for (n in c(3, 10, 30, 59)) say(paste0("share 0/", n), "one-sided high", binom.test(0, n, alternative = "less")$conf.int[2])

# Time to a limit of 10 % from the slopes of 15 lasers, each with its own intercept: limit / mean slope, and the ends from the
# t interval of the mean slope; t prediction limits of one more laser; and the two halves of the lasers against each other.
d <- read("gaaslaser")
slope <- sapply(split(d, d$unit), function(x) coef(lm(increase ~ hours, x))[[2]])
ends <- t.test(slope)$conf.int; n <- length(slope)
say("laser", "limit / mean slope", 10 / mean(slope)); say("laser", "low", 10 / ends[2]); say("laser", "high", 10 / ends[1])
half <- qt(0.975, n - 1) * sd(slope) * sqrt(1 + 1 / n)
say("laser", "next low", 10 / (mean(slope) + half)); say("laser", "next high", 10 / (mean(slope) - half))
say("laser", "mean of limit / slope", mean(10 / slope))
