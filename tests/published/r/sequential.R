# Reference values for looks at growing data: normal integrals over many dimensions (package mvtnorm 1.1-3, Miwa's algorithm).
# Run: Rscript sequential.R  (R 4.2.2). Prints the error of limits, each limit once it has the error that belongs to it.
library(mvtnorm)
inside <- function(z, t) {
  k <- length(z)
  correlation <- outer(t, t, function(a, b) sqrt(pmin(a, b) / pmax(a, b)))
  if (k == 1) return(1 - 2 * pnorm(-z))
  as.numeric(pmvnorm(-z, z, corr = correlation, algorithm = Miwa(steps = 512)))
}
say <- function(what, value) cat(sprintf("%-46s %s\n", what, formatC(value, digits = 10, format = "g")))
for (k in 2:4) {
  t <- (1:k) / k
  say(sprintf("error of 1.96 at each of %d looks", k), 1 - inside(rep(qnorm(0.975), k), t))
  say(sprintf("Pocock, %d looks", k), uniroot(function(c) 1 - inside(rep(c, k), t) - 0.05, c(1.9, 3), tol = 1e-9)$root)
  say(sprintf("O'Brien-Fleming, %d looks", k), uniroot(function(c) 1 - inside(c / sqrt(t), t) - 0.05, c(1.9, 3), tol = 1e-9)$root)
}
of <- function(t) 4 * (1 - pnorm(qnorm(1 - 0.05 / 4) / sqrt(t)))
po <- function(t) 0.05 * log(1 + (exp(1) - 1) * t)
limits <- function(t, spend) {
  z <- c()
  for (k in seq_along(t)) {
    error <- if (k == length(t)) 0.05 else spend(t[k])
    z[k] <- uniroot(function(c) 1 - inside(c(z, c), t[1:k]) - error, c(0.5, 7), tol = 1e-9)$root
  }
  z
}
for (k in 2:4) {
  say(sprintf("O'Brien-Fleming spending, %d looks", k), limits((1:k) / k, of))
  say(sprintf("Pocock spending, %d looks", k), limits((1:k) / k, po))
}
say("O'Brien-Fleming spending, 0.3, 0.7, 1", limits(c(0.3, 0.7, 1), of))
