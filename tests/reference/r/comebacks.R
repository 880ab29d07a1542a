# Figures that the tests freeze, from R. Run it with
#   Rscript comebacks.R > comebacks.csv
# Versions are in the second row of what it prints. Data: survival::veteran by treatment and cell
# type, survival::mgus2 (progression, with death competing) by sex.
suppressPackageStartupMessages({library(survival); library(cmprsk)})
put <- function(name, value) cat(sprintf("%s,%.15g\n", name, value), sep = "")
cat("name,value\n")
cat(sprintf("# %s; survival %s; cmprsk %s\n", R.version.string,
            packageVersion("survival"), packageVersion("cmprsk")))

for (day in c(30, 100)) {
  s <- summary(survfit(Surv(time, status) ~ trt, veteran, conf.type = "log-log"), times = day)
  for (what in c("surv", "lower", "upper", "n.risk"))
    put(paste("veteran", c("1", "2"), what, day, sep = "_"), s[[what]])
}
p_of <- function(fit) pchisq(fit$chisq, length(fit$n) - 1, lower.tail = FALSE)
# Follow-up to 100 days: whoever was watched longer is censored there.
v <- veteran
v$status <- ifelse(v$time > 100, 0, v$status)
v$time <- pmin(v$time, 100)
put("veteran_cell_chisq", survdiff(Surv(time, status) ~ celltype, v)$chisq)
put("veteran_cell_p", p_of(survdiff(Surv(time, status) ~ celltype, v)))
for (cell in levels(v$celltype))
  put(paste("veteran_p", cell, sep = "_"), p_of(survdiff(Surv(time, status) ~ (celltype == cell), v)))

m <- mgus2
m$time <- ifelse(m$pstat == 0, m$futime, m$ptime)
m$reason <- ifelse(m$pstat == 0, 2 * m$death, 1)
m$reason <- ifelse(m$time > 120, 0, m$reason)
m$time <- pmin(m$time, 120)
fit <- survfit(Surv(time, factor(reason, 0:2, c("censored", "pcm", "death"))) ~ sex, m)
s <- summary(fit, times = 120)
put(paste("mgus2", levels(m$sex), "pcm", sep = "_"), s$pstate[, 2])
put(paste("mgus2", levels(m$sex), "at_risk", sep = "_"), s$n.risk[, 1])
tests <- cuminc(m$time, m$reason, m$sex)$Tests
put("mgus2_gray", tests[1, "stat"])
put("mgus2_gray_p", tests[1, "pv"])
