# Figures that the tests freeze, from R. Run it with
#   Rscript survival.R > survival.csv
# Versions are in the first row of what it prints. Data: survival::veteran, survival::mgus2, and
# 300 invented units with many ties, by arithmetic that both sides can repeat (no random numbers).
suppressPackageStartupMessages({library(survival); library(cmprsk)})
put <- function(name, value) cat(sprintf("%s,%.15g\n", name, value), sep = "")
cat("name,value\n")
cat(sprintf("# %s; survival %s; cmprsk %s\n", R.version.string,
            packageVersion("survival"), packageVersion("cmprsk")))

curve <- function(name, formula, data, days) {
  fit <- survfit(formula, data, conf.type = "log-log")
  s <- summary(fit, times = days)
  put(paste(name, "survival", days, sep = "_"), s$surv)
  put(paste(name, "lower", days, sep = "_"), s$lower)
  put(paste(name, "upper", days, sep = "_"), s$upper)
  put(paste(name, "at_risk", days, sep = "_"), s$n.risk)
  put(paste(name, "hazard", days, sep = "_"), s$cumhaz)
  put(paste(name, "hazard_se", days, sep = "_"), s$std.chaz)
}
mean_to <- function(name, formula, data, day) {
  s <- summary(survfit(formula, data), rmean = day)$table
  if (is.null(dim(s))) s <- t(s)
  put(paste(name, "mean", seq_len(nrow(s)), sep = "_"), s[, "rmean"])
  put(paste(name, "mean_se", seq_len(nrow(s)), sep = "_"), s[, "se(rmean)"])
}
test <- function(name, fit) put(paste(name, c("chisq", "df"), sep = "_"), c(fit$chisq, length(fit$n) - 1))

curve("veteran", Surv(time, status) ~ 1, veteran, c(30, 100, 200, 400))
mean_to("veteran_cell", Surv(time, status) ~ celltype, veteran, 180)
test("veteran_trt", survdiff(Surv(time, status) ~ trt, veteran))
test("veteran_cell", survdiff(Surv(time, status) ~ celltype, veteran))
# Stratified: degrees of freedom as for the groups.
fit <- survdiff(Surv(time, status) ~ trt + strata(celltype), veteran)
put("veteran_strata_chisq", fit$chisq)
fit <- survdiff(Surv(time, status) ~ celltype + strata(trt), veteran)
put("veteran_cell_strata_chisq", fit$chisq)
put(paste("veteran_cell_strata_var", 1:4, sep = "_"), fit$var[1, ])

incidence <- function(name, time, reason, days) {
  fit <- survfit(Surv(time, factor(reason, 0:2, c("censored", "one", "two"))) ~ 1)
  s <- summary(fit, times = days)
  for (r in 1:2) {
    put(paste(name, "incidence", r, days, sep = "_"), s$pstate[, r + 1])
    put(paste(name, "incidence_se", r, days, sep = "_"), s$std.err[, r + 1])
  }
}
gray <- function(name, time, reason, group, strata = rep(1, length(time))) {
  tests <- cuminc(time, reason, group, strata)$Tests
  put(paste(name, "gray", 1:2, sep = "_"), tests[, "stat"])
}
m <- mgus2
m$time <- ifelse(m$pstat == 0, m$futime, m$ptime)
m$reason <- ifelse(m$pstat == 0, 2 * m$death, 1)
incidence("mgus2", m$time, m$reason, c(24, 120, 240))
gray("mgus2", m$time, m$reason, m$sex)
gray("mgus2_age", m$time, m$reason, findInterval(m$age, c(60, 70, 80)), m$sex)

i <- 0:299
group <- (i * i + i) %% 4 %/% 2 + (i %% 11 == 0)
u <- data.frame(time = ((i * i * 7 + 3 * i) %% 23) %/% (1 + (group == 1)),
                reason = (i * 5 + i %/% 7) %% 3, group = group, stratum = (i %/% 3) %% 2)
incidence("tied", u$time, u$reason, c(0, 5, 12, 21))
gray("tied", u$time, u$reason, u$group)
gray("tied_strata", u$time, u$reason, u$group, u$stratum)
curve("tied", Surv(time, reason > 0) ~ 1, u, c(0, 5, 12, 21))
test("tied", survdiff(Surv(time, reason > 0) ~ group, u))
put("tied_strata_chisq", survdiff(Surv(time, reason > 0) ~ group + strata(stratum), u)$chisq)
mean_to("tied", Surv(time, reason > 0) ~ group, u, 10)
