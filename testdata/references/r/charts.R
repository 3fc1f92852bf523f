# Control charts by R alone: an independent check. Where it can be done in another
# way than in the program, it is: ranges by the studentised range distribution,
# series by R's filter, sums by Reduce, run lengths of charts by package spc, those
# of the runs rules by survival from value to value over all histories, with a
# geometric tail in place of a system of equations.
# Rscript testdata/references/r/charts.R   (base R and package spc)
# Prints lines "name value". Exit status 77: package spc is not installed.
if (!requireNamespace("spc", quietly = TRUE)) quit(status = 77)
say <- function(name, value) cat(name, format(value, digits = 17, scientific = TRUE), "\n")
each <- function(name, values) for (i in seq_along(values)) say(paste0(name, "_", i), values[i])

# Constants for subgroups: P(range > x) = 1 - ptukey(x).
for (n in 2:25) {
  beyond <- function(x) ptukey(x, n, Inf, lower.tail = FALSE)
  d2 <- integrate(beyond, 0, 15, rel.tol = 1e-11, subdivisions = 500)$value
  d3 <- sqrt(2 * integrate(function(x) x * beyond(x), 0, 15, rel.tol = 1e-11, subdivisions = 500)$value - d2^2)
  c4 <- integrate(function(s) s * 2 * (n - 1) * s * dchisq((n - 1) * s^2, n - 1), 0, 10, rel.tol = 1e-11, subdivisions = 500)$value
  say(paste0("d2_", n), d2); say(paste0("d3_", n), d3); say(paste0("c4_", n), c4)
}

# Individuals and moving range: e-Handbook 6.3.2.2.
x <- c(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
d2 <- round(2 / sqrt(pi), 3); d3 <- sqrt(2 - 4 / pi) # d2 as tables print it
sigma <- mean(abs(diff(x))) / d2
say("individuals_center", mean(x)); say("individuals_sigma", sigma)
say("individuals_upper", mean(x) + 3 * sigma); say("individuals_lower", mean(x) - 3 * sigma)
say("moving_center", mean(abs(diff(x))))
say("moving_upper", mean(abs(diff(x))) * round(1 + 3 * d3 * sqrt(pi) / 2, 3))
first <- x[1:6] # a base period
say("base_center", mean(first)); say("base_sigma", mean(abs(diff(first))) / d2)

# EWMA: e-Handbook 6.3.2.4.
x <- c(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
l <- 0.3; s <- 2.0539
each("ewma", as.numeric(filter(l * x, 1 - l, method = "recursive", init = 50)))
say("ewma_upper", 50 + 3 * s * sqrt(l / (2 - l))); say("ewma_lower", 50 - 3 * s * sqrt(l / (2 - l)))
weights <- l * (1 - l)^(0:19) # the variance of a young average, term by term
each("ewma_exact_upper", 50 + 3 * s * sqrt(cumsum(weights^2)))

# CUSUM: e-Handbook 6.3.2.3.
x <- c(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
       324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350)
k <- 0.3175; h <- 4.1959
fold <- function(steps) Reduce(function(sum, step) max(0, sum + step), steps, 0, accumulate = TRUE)[-1]
high <- fold(x - 325 - k); low <- fold(325 - k - x)
each("high", high); each("low", low); each("sum", cumsum(x - 325))
each("cusum_signal", which(high > h | low > h))

# Run lengths by package spc.
for (shift in c(0, 0.25, 0.5, 1, 2, 4)) {
  for (kh in list(c(0.5, 4), c(0.5, 5), c(0.25, 8), c(0, 6), c(1, 2.5)))
    say(paste("cusum", kh[1], kh[2], shift, sep = "_"), spc::xcusum.arl(kh[1], kh[2], shift, sided = "two", r = 60))
  for (lL in list(c(0.4, 3.054), c(0.2, 2.962), c(0.2, 3), c(0.1, 2.814), c(0.05, 2.615), c(1, 3)))
    say(paste("ewma", lL[1], lL[2], shift, sep = "_"), spc::xewma.arl(lL[1], lL[2], shift, sided = "two", r = 80))
  for (lL in list(c(0.3, 3), c(0.1, 2.7)))
    say(paste("exact", lL[1], lL[2], shift, sep = "_"), spc::xewma.arl(lL[1], lL[2], shift, sided = "two", r = 60, limits = "vacl"))
}

# Runs rules: survival over the last four values (a, the latest, to d) and the
# length of the run on one side. A value is -3 to 3, by the zone on its side, or 0
# before the first; beyond 3 standard deviations is +-4 and no history under rule 1.
runs_length <- function(rules, shift) {
  levels <- c(-3:-1, 1:3)
  if (!1 %in% rules) levels <- c(-4, levels, 4)
  coarse <- function(v, on) if (on) v else 0 * v # what no rule asks for is not kept
  past <- c(0, levels); none <- 0
  need4 <- 3 %in% rules; need2 <- need4 || 2 %in% rules
  g <- expand.grid(a = if (need2) past else none, b = if (need2) past else none,
                   c = if (need4) past else none, d = if (need4) past else none,
                   run = if (4 %in% rules) -7:7 else none)
  key <- function(a, b, c, d, run) (((a * 9 + b) * 9 + c) * 9 + d) * 15 + run
  keys <- key(g$a, g$b, g$c, g$d, g$run)
  zone <- sort(unique(c(levels, -4, 4)))
  p <- pnorm(ifelse(zone > 0, ifelse(zone == 4, Inf, zone), zone + 1) - shift) -
       pnorm(ifelse(zone > 0, zone - 1, ifelse(zone == -4, -Inf, zone)) - shift)
  to <- matrix(NA_integer_, nrow(g), length(zone))
  for (j in seq_along(zone)) {
    z <- zone[j]; side <- sign(z)
    counts <- function(line, ...) Reduce(`+`, lapply(list(...), function(v) (v * side > line) * 1))
    alarm <- rep(FALSE, nrow(g))
    if (1 %in% rules) alarm <- alarm | abs(z) == 4
    if (2 %in% rules && abs(z) >= 3) alarm <- alarm | counts(2, g$a, g$b) >= 1
    if (3 %in% rules && abs(z) >= 2) alarm <- alarm | counts(1, g$a, g$b, g$c, g$d) >= 3
    run <- ifelse(sign(g$run) == side, g$run + side, side)
    if (4 %in% rules) alarm <- alarm | abs(run) >= 8
    next_key <- key(coarse(rep(z, nrow(g)), need2), coarse(g$a, need2), coarse(g$b, need4), coarse(g$c, need4),
                    if (4 %in% rules) run else 0 * run)
    to[!alarm, j] <- match(next_key[!alarm], keys)
  }
  gone <- nrow(g) + 1L
  to[is.na(to)] <- gone
  start <- which(g$a == 0 & g$b == 0 & g$c == 0 & g$d == 0 & g$run == 0)
  survival <- c(rep(1, nrow(g)), 0); total <- 0; before <- Inf; ratio <- 0
  for (t in 1:3000) {
    now <- survival[start]; total <- total + now
    stepped <- numeric(nrow(g))
    for (j in seq_along(zone)) stepped <- stepped + p[j] * survival[to[, j]]
    survival <- c(stepped, 0)
    last <- ratio; ratio <- survival[start] / now
    if (t > 12 && abs(ratio - last) < 1e-14) break
  }
  total + survival[start] / (1 - ratio)
}
few <- function(rules) 1 %in% rules || !all(c(3, 4) %in% rules) # histories; the others take too long
for (size in 1:4) for (rules in Filter(few, combn(4, size, simplify = FALSE))) for (shift in c(0, 1))
  say(paste0("rules", paste(rules, collapse = ""), "_", shift), runs_length(rules, shift))
