# Figures that the tests freeze, from R. Run it with
#   Rscript watching.R > watching.csv
# Versions are in the first row of what it prints. Invented jobs, by arithmetic that both sides can
# repeat (no random numbers).
suppressPackageStartupMessages(library(surveillance))
put <- function(name, value) cat(sprintf("%s,%.15g\n", name, value), sep = "")
cat("name,value\n")
cat(sprintf("# %s; surveillance %s\n", R.version.string, packageVersion("surveillance")))
tail <- pnorm(-3)

# Limits: number of opportunities 1 to 400 in uneven steps, five centres.
n <- c(1, 2, 5, 11, 30, 77, 150, 400)
for (p in c(0.001, 0.02, 0.13, 0.5, 0.97)) {
  put(sprintf("exact_low_%g_%d", p, n), qbinom(tail, n, p))
  put(sprintf("exact_high_%g_%d", p, n), qbinom(1 - tail, n, p))
  for (t in c(tail, 1 - tail)) {
    r <- qbinom(t, n, p)
    a <- (pbinom(r, n, p) - t) / (pbinom(r, n, p) - pbinom(r - 1, n, p))
    put(sprintf("funnel_%s_%g_%d", if (t < 0.5) "low" else "high", p, n), pmax(r - a, 0) / n)
  }
}
for (p in c(1e-5, 0.001, 0.002, 0.03, 0.4)) {
  put(sprintf("g_low_%g", p), qgeom(tail, p))
  put(sprintf("g_high_%g", p), qgeom(1 - tail, p))
}

# p-values of groups against what was expected of them.
k <- c(0, 3, 7, 20, 55); m <- c(12, 40, 100, 100, 1000); e <- c(1.2, 0.8, 7, 8.5, 80)
put(sprintf("more_%d", k), pbinom(k - 1, m, e / m, lower.tail = FALSE))
put(sprintf("fewer_%d", k), pbinom(k, m, e / m))

# Sum of 400 jobs with a risk of their own, against twice the odds.
i <- 0:399
risk <- 0.01 + ((i * 37) %% 29) / 150
failed <- as.integer((i * i + 3 * i) %% 17 == 0)
odds <- 2 * risk / (1 - risk)
found <- surveillance:::catcusum.LLRcompute(
  rbind(failed, 1 - failed), rbind(risk, 1 - risk), rbind(odds / (1 + odds), 1 / (1 + odds)),
  h = 1e6, n = rep(1, 400), calc.at = FALSE,
  dfun = function(y, size, mu, log) dbinom(y[1, ], size, mu[1, ], log = log))
put(sprintf("sum_%d", c(50, 100, 200, 399)), found$val[c(50, 100, 200, 399)])

# Run lengths. Plain form: on a lattice, exact.
for (s in list(c(2, 1.5, 0.1), c(10, 2, 0.05), c(10, 2, 0.2), c(50, 3, 0.01), c(100, 2.5, 0.03)))
  put(sprintf("plain_%g_%g_%g", s[1], s[2], s[3]),
      arlCusum(h = s[2], k = 1 / s[1], theta = s[3], distr = "binomial", digits = 2, n = 1)$ARL)
