# Reference values for two-stage wear rates. Run from this folder: Rscript wear_two_stage.R
# Made with R 4.2.2 (base and stats only). Prints: case, quantity, value (10 significant digits).
read <- function(name) read.csv(file.path("..", "data", paste0(name, ".csv")), comment.char = "#")
say <- function(case, quantity, value) {
  cat(sprintf("%s,%s,%s\n", case, quantity, ifelse(is.na(value), "NA", formatC(value, digits = 10, format = "g"))))
}
slopes <- function(d, unit, y, x) sapply(split(d, d[[unit]]), function(u) unname(coef(lm(reformulate(x, y), u))[2]))
mean_t <- function(case, v) {
  t <- t.test(v); say(case, "mean", t$estimate); say(case, "se", t$stderr)
  say(case, "low", t$conf.int[1]); say(case, "high", t$conf.int[2])
}
welch <- function(case, a, b) {
  t <- t.test(a, b); say(case, "difference", mean(a) - mean(b)); say(case, "df", t$parameter); say(case, "p", t$p.value)
  say(case, "low", t$conf.int[1]); say(case, "high", t$conf.int[2])
}
inverted <- function(case, a, b, low, high) {
  p <- function(r) t.test(a, r * b)$p.value - 0.05; r0 <- mean(a) / mean(b)
  say(case, "ratio", r0); say(case, "ratio low", uniroot(p, c(low, r0), tol = 1e-13)$root)
  if (!is.na(high)) say(case, "ratio high", uniroot(p, c(r0, high), tol = 1e-13)$root)
}

z <- slopes(read("sleepstudy"), "Subject", "Reaction", "Days")
mean_t("sleepstudy", z); for (s in c("308", "309", "310", "372")) say("sleepstudy slope", s, z[s])

d <- read("sleepstudy_6units_2groups")
a <- slopes(subset(d, grp == "A"), "Subject", "Reaction", "Days"); b <- slopes(subset(d, grp == "B"), "Subject", "Reaction", "Days")
mean_t("6 units A", a); mean_t("6 units B", b); welch("6 units A-B", a, b)
say("6 units ratio", "p of one-sample t test of B (ratio without end)", t.test(b)$p.value)

d <- read("orthodont")
m <- slopes(subset(d, Sex == "Male"), "Subject", "distance", "age"); f <- slopes(subset(d, Sex == "Female"), "Subject", "distance", "age")
mean_t("orthodont male", m); mean_t("orthodont female", f); welch("orthodont male-female", m, f)
inverted("orthodont", m, f, 0.5, 10)
s2 <- (15 * var(m) + 10 * var(f)) / 25
say("orthodont pooled", "var male", s2 / 16); say("orthodont pooled", "var female", s2 / 11)

d <- read("gaaslaser"); d$khours <- d$hours / 1000
mean_t("laser", slopes(d, "unit", "increase", "khours"))
mean_t("laser through the origin", sapply(split(d, d$unit), function(u) unname(coef(lm(increase ~ 0 + khours, u)))))

d <- read("metalwear"); d$ly <- log(d$microns); d$lx <- log(d$cycles)
u <- lapply(c(10, 50, 100), function(g) slopes(subset(d, grams == g), "unit", "ly", "lx"))
for (i in 1:3) mean_t(paste("metalwear", c(10, 50, 100)[i]), u[[i]])
welch("metalwear 100-50", u[[3]], u[[2]]); welch("metalwear 10-50", u[[1]], u[[2]])
inverted("metalwear 100/50", u[[3]], u[[2]], 0.5, 3)
p <- p.adjust(c(t.test(u[[1]], u[[2]])$p.value, t.test(u[[1]], u[[3]])$p.value), "holm")
say("metalwear holm against 10", "50", p[1]); say("metalwear holm against 10", "100", p[2])
