# Reference values for planning: power of t tests, units for a difference of slopes.
# Run: Rscript planning.R  (R 4.2.2, stats only). Prints 10 significant digits.
say <- function(what, value) cat(sprintf("%-48s %s\n", what, formatC(value, digits = 10, format = "g")))

# power of the two-sample t test, both tails (strict = TRUE)
for (row in list(c(20, 1, 1, 0.05), c(10, 1, 1, 0.05), c(3, 2, 1, 0.05), c(5, 1.5, 1, 0.05), c(4, 3, 1, 0.01))) {
  found <- power.t.test(n = row[1], delta = row[2], sd = row[3], sig.level = row[4], strict = TRUE)
  say(sprintf("power, n %g, difference %g, level %g", row[1], row[2], row[4]), found$power)
}
# two samples of 6 and 10: noncentral t by hand
t <- qt(0.975, 14); shift <- 1.2 / sqrt(1 / 6 + 1 / 10)
say("power, 6 and 10, difference 1.2", pt(t, 14, shift, lower.tail = FALSE) + pt(-t, 14, shift))
# smallest difference over the standard deviation of the units' slopes, power 0.80
for (k in 2:6) {
  power <- function(d) pt(qt(0.975, 2 * k - 2), 2 * k - 2, d * sqrt(k / 2), lower.tail = FALSE)
  say(sprintf("least difference, %d units per arm", k), uniroot(function(d) power(d) - 0.8, c(0.1, 20), tol = 1e-12)$root)
}
# units per arm for a difference of slopes: z formula
units <- function(d, v, power = 0.8, level = 0.05, sides = 2) 2 * (qnorm(1 - level / sides) + qnorm(power))^2 * v / d^2
x <- c(0, 2, 5)
for (rho in c(0.2, 0.5, 0.8)) for (v in c(100, 200, 300)) {
  say(sprintf("Diggle table, rho %g, variance %g", rho, v), units(0.5, v * (1 - rho) / sum((x - mean(x))^2), sides = 1))
}
x <- seq(0, 1.5, 0.25)
say("slope variance 24, residual 10, difference 1.5", units(1.5, 24 + 10 / sum((x - mean(x))^2)))
