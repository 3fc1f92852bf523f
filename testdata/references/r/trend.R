# Trend and inverse prediction by base R alone: an independent check. The
# bounds are not taken from a formula: they are searched for where R's own
# prediction interval meets the limit.
# Rscript trend.R X,... Y,... LIMIT
# Prints lines "name value".
args <- commandArgs(trailingOnly = TRUE)
list_of <- function(s) as.numeric(strsplit(s, ",")[[1]])
say <- function(name, value) cat(name, format(value, digits = 17, scientific = TRUE), "\n")
x <- list_of(args[1]); y <- list_of(args[2]); limit <- as.numeric(args[3])
fit <- lm(y ~ x); k <- coef(summary(fit))
say("slope", k[2, 1]); say("intercept", k[1, 1]); say("slope_sd", k[2, 2]); say("intercept_sd", k[1, 2])
say("residual_sd", summary(fit)$sigma); say("r2", summary(fit)$r.squared)
slopes <- outer(y, y, "-") / outer(x, x, "-")
slope <- median(slopes[outer(x, x, ">")])
say("median_slope", slope); say("median_intercept", median(y - slope * x))
say("kendall_tau", cor(x, y, method = "kendall"))
crossing <- (limit - k[1, 1]) / k[2, 1]
say("crossing", crossing)
apart <- function(at, column)
  predict(fit, data.frame(x = at), interval = "prediction", level = 0.95)[, column] - limit
upper <- if (k[2, 1] > 0) "upr" else "lwr"; lower <- if (k[2, 1] > 0) "lwr" else "upr"
wide <- 5 * diff(range(x)) + abs(crossing - mean(x))
meets <- function(column) uniroot(apart, c(crossing - wide, crossing + wide), column = column, tol = 1e-10)$root
say("crossing_low", meets(upper)); say("crossing_high", meets(lower))
say("remaining", crossing - max(x))
