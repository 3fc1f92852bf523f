# Crossed gauge study, type-1 study and linearity by base R alone: an
# independent check.
# Rscript gauge.R crossed FILE.csv             columns part, appr, y; # comments
# Rscript gauge.R type1 REFERENCE TOLERANCE VALUE...
# Rscript gauge.R linearity REFERENCE,... VALUE,...
# Rscript gauge.R factors                      of the average-range method
# Prints lines "name value".
args <- commandArgs(trailingOnly = TRUE)
say <- function(name, value) cat(name, format(value, digits = 17, scientific = TRUE), "\n")
list_of <- function(s) as.numeric(strsplit(s, ",")[[1]])

crossed <- function(file) {
  d <- read.csv(file, comment.char = "#")
  d$part <- factor(d$part); d$appr <- factor(d$appr); d$y <- d$y - mean(d$y)
  p <- nlevels(d$part); o <- nlevels(d$appr); r <- nrow(d) / (p * o)
  a <- anova(lm(y ~ part * appr, d))
  row <- c(part = "part", appraiser = "appr", interaction = "part:appr", repeatability = "Residuals")
  for (name in names(row)) {
    say(paste0(name, "_df"), a[row[name], "Df"])
    say(paste0(name, "_ss"), a[row[name], "Sum Sq"])
    say(paste0(name, "_ms"), a[row[name], "Mean Sq"])
  }
  p_interaction <- a["part:appr", "Pr(>F)"]
  say("interaction_f", a["part:appr", "F value"]); say("interaction_p", p_interaction)
  if (p_interaction > 0.25) {
    b <- anova(lm(y ~ part + appr, d))
    error <- b["Residuals", "Mean Sq"]; error_df <- b["Residuals", "Df"]; repeats <- error
    say("pooled_df", error_df); say("pooled_ms", error)
  } else {
    error <- a["part:appr", "Mean Sq"]; error_df <- a["part:appr", "Df"]; repeats <- a["Residuals", "Mean Sq"]
  }
  for (name in c("part", "appraiser")) {
    f <- a[row[name], "Mean Sq"] / error
    say(paste0(name, "_f"), f)
    say(paste0(name, "_p"), pf(f, a[row[name], "Df"], error_df, lower.tail = FALSE))
  }
  inter <- max(0, (error - repeats) / r)
  appr <- max(0, (a["appr", "Mean Sq"] - error) / (p * r))
  part <- max(0, (a["part", "Mean Sq"] - error) / (o * r))
  say("repeatability_sd", sqrt(repeats)); say("reproducibility_sd", sqrt(appr + inter))
  say("gauge_sd", sqrt(repeats + appr + inter)); say("part_sd", sqrt(part))
  say("total_sd", sqrt(repeats + appr + inter + part))
  say("percent_study", 100 * sqrt((repeats + appr + inter) / (repeats + appr + inter + part)))
}

type1 <- function(reference, tolerance, y) {
  test <- t.test(y, mu = reference); s <- sd(y); bias <- mean(y) - reference
  say("mean", mean(y)); say("sd", s); say("bias", bias)
  say("bias_t", test$statistic); say("bias_p", test$p.value)
  say("cg", 0.2 * tolerance / (6 * s)); say("cgk", (0.1 * tolerance - abs(bias)) / (3 * s))
}

linearity <- function(reference, y) {
  fit <- summary(lm(I(y - reference) ~ reference)); k <- coef(fit)
  say("slope", k[2, 1]); say("intercept", k[1, 1]); say("slope_sd", k[2, 2]); say("intercept_sd", k[1, 2])
  say("slope_t", k[2, 3]); say("intercept_t", k[1, 3]); say("slope_p", k[2, 4]); say("intercept_p", k[1, 4])
  say("r2", fit$r.squared); say("residual_sd", fit$sigma)
  for (r in unique(reference)) {
    test <- t.test((y - reference)[reference == r])
    say(paste0("bias_", r), test$estimate); say(paste0("t_", r), test$statistic); say(paste0("p_", r), test$p.value)
  }
}

factors <- function() {
  for (n in 2:10) {
    d2 <- ptukey_mean(n, 1); d3 <- sqrt(ptukey_mean(n, 2) - d2^2)
    say(paste0("k1_", n), 1 / d2); say(paste0("k3_", n), 1 / sqrt(d2^2 + d3^2))
  }
}
# E[R^k] from R's distribution of the range, which is ptukey with df = Inf.
ptukey_mean <- function(n, k) integrate(function(w) k * w^(k - 1) * ptukey(w, n, Inf, lower.tail = FALSE),
  0, 20, rel.tol = 1e-10, subdivisions = 1000L)$value

switch(args[1],
  crossed = crossed(args[2]),
  type1 = type1(as.numeric(args[2]), as.numeric(args[3]), as.numeric(args[-(1:3)])),
  linearity = linearity(list_of(args[2]), list_of(args[3])),
  factors = factors())
