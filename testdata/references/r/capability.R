# Capability of single values, by base R alone: an independent check.
# Rscript capability.R LOWER UPPER VALUE...
# Prints lines "name value". Bounds: chi-square for Cp, normal approximation for
# Cpk, noncentral t for the one-sided indices (R's pt is an approximation where
# ncp exceeds 37.62, so keep to few values).
args <- as.numeric(commandArgs(trailingOnly = TRUE))
lower <- args[1]; upper <- args[2]; y <- args[-(1:2)]
say <- function(name, value) cat(name, format(value, digits = 17, scientific = TRUE), "\n")
n <- length(y); m <- mean(y); s <- sd(y)
cp <- (upper - lower) / (6 * s)
cpl <- (m - lower) / (3 * s); cpu <- (upper - m) / (3 * s); cpk <- min(cpl, cpu)
half <- qnorm(0.975) * sqrt(1 / (9 * n) + cpk^2 / (2 * (n - 1)))
bound <- function(index) {
  t <- 3 * sqrt(n) * index
  uniroot(function(ncp) pt(t, n - 1, ncp) - 0.95, c(t - 20, t + 20), extendInt = "downX", tol = 1e-13)$root / (3 * sqrt(n))
}
within <- mean(abs(diff(y))) * sqrt(pi) / 2
say("mean", m); say("sd", s); say("cp", cp); say("cpk", cpk); say("cpl", cpl); say("cpu", cpu)
say("cp_low", cp * sqrt(qchisq(0.025, n - 1) / (n - 1)))
say("cp_high", cp * sqrt(qchisq(0.975, n - 1) / (n - 1)))
say("cpk_low", cpk - half); say("cpk_high", cpk + half)
say("cpl_bound", bound(cpl)); say("cpu_bound", bound(cpu))
say("within_sd", within); say("within_cp", (upper - lower) / (6 * within))
say("within_cpk", min(m - lower, upper - m) / (3 * within))
say("ppm_below", 1e6 * pnorm(lower, m, s)); say("ppm_above", 1e6 * pnorm(upper, m, s, lower.tail = FALSE))
say("below", sum(y < lower)); say("above", sum(y > upper))
