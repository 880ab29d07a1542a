# Figures that the tests freeze, from R. Run it with
#   Rscript strata_and_firth.R > strata_and_firth.csv
# Versions are in the first rows of what it prints.
suppressPackageStartupMessages({library(metafor); library(brglm2)})
put <- function(name, value) cat(sprintf("%s,%.15g\n", name, value), sep = "")
cat("name,value\n")
cat(sprintf("# %s; metafor %s; brglm2 %s\n", R.version.string,
            packageVersion("metafor"), packageVersion("brglm2")))

# Tables are listed as x1, n1, x2, n2 by stratum.
tables <- list(
  admitted = list(x1 = UCBAdmissions["Admitted", "Male", ], x2 = UCBAdmissions["Admitted", "Female", ],
                  n1 = colSums(UCBAdmissions[, "Male", ]), n2 = colSums(UCBAdmissions[, "Female", ])),
  rejected = list(x1 = UCBAdmissions["Rejected", "Male", ], x2 = UCBAdmissions["Rejected", "Female", ],
                  n1 = colSums(UCBAdmissions[, "Male", ]), n2 = colSums(UCBAdmissions[, "Female", ])),
  # small strata, with one empty group, one without failures, one with nothing but failures
  sparse = list(x1 = c(1, 0, 0, 4, 2, 3), n1 = c(5, 0, 7, 4, 9, 11),
                x2 = c(3, 2, 0, 6, 1, 5), n2 = c(8, 6, 4, 6, 10, 12)),
  stones = list(x1 = c(6, 71), n1 = c(87, 263), x2 = c(36, 25), n2 = c(270, 80)))
for (name in names(tables)) {
  t <- tables[[name]]
  mh <- function(measure, correct = FALSE)
    suppressWarnings(rma.mh(ai = t$x1, n1i = t$n1, ci = t$x2, n2i = t$n2, measure = measure,
                            correct = correct, digits = 15))
  for (measure in c("OR", "RR", "RD")) {
    fit <- mh(measure)
    put(paste(name, measure, c("estimate", "se"), sep = "_"), c(fit$beta, fit$se))
  }
  fit <- mh("OR")
  put(paste(name, c("cmh", "bd", "bd_p", "tarone", "tarone_p", "k_pos"), sep = "_"),
      c(fit$MH, fit$BD, fit$BDp, fit$TA, fit$TAp, fit$k.pos))
  put(paste(name, "cmh_cc", sep = "_"), mh("OR", TRUE)$MH)
}
tests <- mantelhaen.test(aperm(UCBAdmissions, c(2, 1, 3)), correct = TRUE)
put(c("ucb_base_cmh_cc", "ucb_base_p"), c(tests$statistic, tests$p.value))
# Doll and Hill 1950, smoking and lung cancer, men and women: the interval of the odds ratio.
doll <- mantelhaen.test(array(c(647, 2, 622, 27, 41, 19, 28, 32), c(2, 2, 2)), correct = FALSE)
put(paste("doll", c("OR", "OR_low", "OR_high", "cmh"), sep = "_"),
    c(doll$estimate, doll$conf.int, doll$statistic))

# Firth: bias reduction with type AS_mean is the penalised likelihood of Firth 1993 for a logit.
firth <- function(formula, data, weights = rep(1, nrow(data))) {
  data$jobs <- weights
  glm(formula, binomial, data, jobs, method = "brglmFit", type = "AS_mean",
      epsilon = 1e-13, maxit = 1000)
}
# The 79 patients of Heinze and Schemper 2002, as brglm2 carries them; kept beside the figures.
data("endometrial", package = "brglm2")
fit <- firth(HG ~ NV + PI + EH, endometrial)
put(paste("endometrial", c("intercept", "NV", "PI", "EH"), sep = "_"), coef(fit))
penalised <- function(fit) as.numeric(logLik(fit)) + as.numeric(determinant(crossprod(
  model.matrix(fit) * sqrt(fit$prior.weights * fitted(fit) * (1 - fitted(fit)))))$modulus) / 2
put("endometrial_penalised", penalised(fit))
write.csv(endometrial, "endometrial.csv", row.names = FALSE)

# Separated by hand: the second condition never goes with a failure.
d <- data.frame(a = c(0, 1, 0, 1, 0), b = c(0, 0, 1, 1, 0), c = c(0, 0, 0, 0, 1),
                n = c(40, 25, 12, 6, 30), x = c(6, 9, 0, 0, 5))
fit <- firth(x / n ~ a + b + c, d, d$n)
put(paste("separated", c("intercept", "a", "b", "c"), sep = "_"), coef(fit))

p <- c(.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528,
       .7590, 1)
put(sprintf("holm_%02d", seq_along(p)), p.adjust(p, "holm"))
put(sprintf("bh_%02d", seq_along(p)), p.adjust(p, "BH"))
