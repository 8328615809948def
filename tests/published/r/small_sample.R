# Reference values for small-sample intervals. Run from this folder: Rscript small_sample.R
# Made with R 4.2.2 (base and stats only). Prints: case, quantity, value (10 significant digits).
read <- function(name) read.csv(file.path("..", "data", paste0(name, ".csv")), comment.char = "#")
say <- function(case, quantity, value) {
  cat(sprintf("%s,%s,%s\n", case, quantity, ifelse(is.na(value), "NA", formatC(value, digits = 10, format = "g"))))
}
ends <- function(case, what, limits) { say(case, paste(what, "low"), limits[1]); say(case, paste(what, "high"), limits[2]) }

# Ratios r that t.test does not reject for "mean of a = r * mean of b": roots of p(r) = 0.05, searched from both sides.
p_welch <- function(a, b, r) t.test(a, r * b)$p.value
p_paired <- function(a, b, r) t.test(a - r * b)$p.value
root <- function(p, a, b, from, to) uniroot(function(r) p(a, b, r) - 0.05, c(from, to), tol = 1e-13)$root

# Fieller's set for given covariance: roots of (x - r y)^2 = t^2 (vx - 2 r c + r^2 vy) by polyroot.
fieller <- function(case, x, y, vx, vy, cxy, t) {
  roots <- polyroot(c(x^2 - t^2 * vx, -2 * (x * y - t^2 * cxy), y^2 - t^2 * vy))
  real <- max(abs(Im(roots))) < 1e-9
  kind <- if (y^2 - t^2 * vy > 0) "bounded" else if (real) "exclusive" else "whole line"
  say(case, paste0("kind ", kind), 1)
  if (real) ends(case, "limit", sort(Re(roots)))
}

# ---------------------------------------------------------------- boys' shoes, paired
s <- read("shoes")
t1 <- t.test(s$B, s$A, paired = TRUE)
say("shoes", "difference", t1$estimate); say("shoes", "se", t1$stderr); say("shoes", "t", t1$statistic)
say("shoes", "p", t1$p.value); ends("shoes", "difference", t1$conf.int)
ends("shoes", "ratio B/A", c(root(p_paired, s$B, s$A, 0.9, mean(s$B) / mean(s$A)), root(p_paired, s$B, s$A, mean(s$B) / mean(s$A), 1.2)))

# ---------------------------------------------------------------- tire tread, paired
n <- read("natrella_tire_tread"); w <- n$weight_method; g <- n$groove_method; r0 <- mean(g) / mean(w)
say("natrella", "ratio of means", r0); say("natrella", "WLS 1/x slope", coef(lm(g ~ 0 + w, weights = 1 / w)))
ends("natrella", "ratio groove/weight", c(root(p_paired, g, w, 0.5, r0), root(p_paired, g, w, r0, 1.2)))

# ---------------------------------------------------------------- asat, two groups
d <- read("asat"); a <- d$ASAT[d$group == "TREAT"]; b <- d$ASAT[d$group == "KON"]; r0 <- mean(a) / mean(b)
ends("asat", "ratio Welch inverted", c(root(p_welch, a, b, 0.5, r0), root(p_welch, a, b, r0, 2)))
pooled <- t.test(a, 1.25 * b, alternative = "less")
say("asat", "margin 1.25 Welch t", pooled$statistic); say("asat", "margin 1.25 Welch p", pooled$p.value)
na <- length(a); nb <- length(b); s2 <- ((na - 1) * var(a) + (nb - 1) * var(b)) / (na + nb - 2)
tp <- (mean(a) - 1.25 * mean(b)) / sqrt(s2 * (1 / na + 1.25^2 / nb))
say("asat", "margin 1.25 pooled t", tp); say("asat", "margin 1.25 pooled p", pt(tp, na + nb - 2))
fieller("asat pooled", mean(a), mean(b), s2 / na, s2 / nb, 0, qt(0.975, na + nb - 2))
fieller("asat pooled one-sided", mean(a), mean(b), s2 / na, s2 / nb, 0, qt(0.95, na + nb - 2))

# ---------------------------------------------------------------- slopes of the 18 sleepstudy subjects
z <- read("sleepstudy")
slope <- sapply(split(z, z$Subject), function(u) unname(coef(lm(Reaction ~ Days, u))[2]))
t2 <- t.test(slope)
say("sleepstudy", "mean", t2$estimate); say("sleepstudy", "se", t2$stderr); ends("sleepstudy", "mean", t2$conf.int)
ends("sleepstudy", "next subject", predict(lm(slope ~ 1), data.frame(x = 1), interval = "prediction")[1, 2:3])
pick <- function(...) unname(slope[as.character(c(...))])
three <- list(bounded = list(pick(352, 337, 308), pick(331, 332, 349)), exclusive = list(pick(308, 330, 350), pick(309, 310, 335)),
              whole = list(pick(335, 309, 370), pick(308, 330, 350)))
for (name in names(three)) {
  x <- three[[name]][[1]]; y <- three[[name]][[2]]; v <- (var(x) + var(y)) / 2 / 3
  case <- paste("sleepstudy 3 and 3", name)
  say(case, "x", mean(x)); say(case, "y", mean(y)); say(case, "v", v)
  fieller(case, mean(x), mean(y), v, v, 0, qt(0.975, 4))
}
x <- three$bounded[[1]]; y <- three$bounded[[2]]; r0 <- mean(x) / mean(y)
say("sleepstudy 3 and 3 Welch", "p at infinity, one-sample on y", t.test(y)$p.value)
say("sleepstudy 3 and 3 Welch", "lower root", root(p_welch, x, y, 0, r0))
say("sleepstudy 3 and 3 Welch", "negative root", root(p_welch, x, y, -1e4, -1))

# ---------------------------------------------------------------- given covariance matrices
fieller("given bounded", 2.4, 1.6, 0.04, 0.02, 0.005, qt(0.975, 10))
fieller("given negative covariance", 1.2, 2, 0.02, 0.05, -0.01, qnorm(0.975))
fieller("given exclusive", 2.4, 0.3, 0.04, 0.04, 0, qt(0.975, 10))
fieller("given whole line", 0.3, 0.3, 0.04, 0.04, 0, qt(0.975, 10))

# ---------------------------------------------------------------- several comparisons, and unequal small samples
p <- p.adjust(c(0.01, 0.04, 0.03, 0.005, NA), "holm"); for (i in 1:4) say("holm", paste("p", i), p[i])
x <- c(1.42, 1.71); y <- c(0.9, 1.1, 1.3, 1.0, 0.8)
va <- var(x) / 2; vb <- var(y) / 5; q <- (va * qt(0.975, 1) + vb * qt(0.975, 4)) / (va + vb)
ends("two and five", "weighted t", mean(x) - mean(y) + c(-1, 1) * q * sqrt(va + vb))

# ---------------------------------------------------------------- some units shared
# Partover.test(a1, b1, a2, b2, conf.level = 0.95) of the package Partiallyoverlapping 2.0 on the example of its manual;
# the same lines in base R:
a1 <- c(20, 21, 16, 18, 14, 12, 14, 17); a2 <- c(14, 15, 18, 20, 11, 19, 14, 15)
b1 <- c(10, 16, 18, 16, 15, 14, 13, 10); b2 <- c(15, 10, 15, 17, 13, 19, 12, 13)
a <- c(a1, a2); b <- c(b1, b2); w <- t.test(a, b)
se <- sqrt(var(a) / 16 + var(b) / 16 - 2 * cor(a2, b2) * sd(a) * sd(b) * 8 / 256)
df <- 7 + (w$parameter - 7) / 32 * 16
say("partly shared", "t", (mean(a) - mean(b)) / se); say("partly shared", "df", df)
say("partly shared", "p", 2 * pt(-(mean(a) - mean(b)) / se, df))
ends("partly shared", "difference", mean(a) - mean(b) + c(-1, 1) * qt(0.975, df) * se)
