# Asks the calculator (stats_print) and compares with R, which computes everything by itself.
# usage: Rscript stats_r.R STATS_PRINT
# Packages epitools and surveillance are used where they are installed.

program <- commandArgs(trailingOnly = TRUE)[1]
set.seed(20)
questions <- character()
checks <- list()

# Notes a question with what R says; answered and compared in one go at the end.
ask <- function(command, arguments, want, rel = 1e-8, abs = 1e-12) {
  line <- paste(command, paste(format(arguments, digits = 17, scientific = TRUE, trim = TRUE),
                               collapse = " "))
  questions <<- c(questions, line)
  checks[[length(questions)]] <<- list(line = line, want = want, rel = rel, abs = abs)
}

answers <- function() {
  lines <- system2(program, input = questions, stdout = TRUE)
  stopifnot(length(lines) == length(questions))
  lapply(strsplit(lines, " "), function(w) suppressWarnings(as.numeric(w)))
}

# --- Poisson counts -------------------------------------------------------------------------
for (x in c(0:12, 17, 40, 133, 981)) for (level in c(.8, .95, .99)) {
  ask("limits", c(x, level),
      as.vector(poisson.test(x, conf.level = level)$conf.int), 1e-7)
}
for (i in 1:60) {
  t <- runif(2, .5, 4); y <- rpois(2, 10 * t * runif(2, .2, 1.5))
  if (sum(y) == 0) next
  fit <- poisson.test(y, t)
  ratio <- (y[1] / t[1]) / (y[2] / t[2])
  q <- t[1] / sum(t); n <- sum(y)
  ask("two-counts", c(y[1], t[1], y[2], t[2]),
      c(ratio, fit$conf.int, fit$p.value, pbinom(y[1], n, q), pbinom(y[1] - 1, n, q, lower = FALSE),
        NA, NA), 1e-7)
}

# --- quantiles and the negative binomial --------------------------------------------------------
for (shape in c(.01, .2, 1, 3.7, 80, 5e3)) for (p in c(1e-9, .001, .025, .4, .9))
  ask("gamma-quantiles", c(p, shape), c(qgamma(p, shape), qgamma(p, shape, lower = FALSE)),
      1e-7, 1e-280)
for (a in c(.3, 1, 6, 42, 900)) for (b in c(.5, 2, 70, 1e4, 3e6)) for (p in c(1e-6, .025, .5))
  ask("beta-quantiles", c(p, a, b), c(qbeta(p, a, b), qbeta(p, a, b, lower = FALSE)), 1e-8, 1e-15)
for (i in 1:80) {
  mean <- exp(runif(1, -2, 6)); size <- exp(runif(1, -1.5, 9)); p <- runif(1, .5, .999)
  x <- rnbinom(1, size = size, mu = mean)
  ask("negative-binomial", c(x, mean, size, p),
      c(dnbinom(x, size, mu = mean), pnbinom(x, size, mu = mean),
        pnbinom(x, size, mu = mean, lower = FALSE), qnbinom(p, size, mu = mean)), 1e-7)
}

# --- two-by-two tables ----------------------------------------------------------------------
# R's own odds ratios stop at a loose tolerance: solved here from the noncentral distribution.
conditional <- function(t) {
  m <- t[1] + t[2]; n <- t[3] + t[4]; k <- t[1] + t[3]; x <- t[1]
  support <- max(0, k - n):min(k, m)
  logdc <- dhyper(support, m, n, k, log = TRUE)
  d <- function(lp) { w <- logdc + support * lp; w <- exp(w - max(w)); w / sum(w) }
  solve <- function(f) exp(uniroot(f, c(-60, 60), tol = 1e-13)$root)
  low <- if (x == min(support)) 0 else
    solve(function(lp) log(sum(d(lp)[support >= x])) - log(.025))
  high <- if (x == max(support)) Inf else
    solve(function(lp) log(sum(d(lp)[support <= x])) - log(.025))
  ratio <- if (x == min(support)) 0 else if (x == max(support)) Inf else
    solve(function(lp) sum(support * d(lp)) - x)
  c(ratio, low, high)
}
table_check <- function(t) {
  m <- matrix(t, 2, byrow = TRUE)
  ask("strata", t, c(rep(NA, 6), fisher.test(m)$p.value, conditional(t)), 1e-6)
}
for (i in 1:60) {
  t <- rpois(4, exp(runif(4, 0, 4)))
  if ((t[1] + t[2]) * (t[3] + t[4]) * (t[1] + t[3]) * (t[2] + t[4]) > 0) table_check(t)
}
if (requireNamespace("epitools", quietly = TRUE)) {
  data(oswego, package = "epitools")
  ill <- as.character(oswego$ill) == "Y"
  for (food in names(oswego)[8:21]) {
    ate <- as.character(oswego[[food]])
    known <- !is.na(ate) & ate %in% c("Y", "N")
    table_check(c(sum(ate[known] == "Y" & ill[known]), sum(ate[known] == "Y" & !ill[known]),
                  sum(ate[known] == "N" & ill[known]), sum(ate[known] == "N" & !ill[known])))
  }
}
strata_check <- function(tables) {
  plain <- mantelhaen.test(tables, correct = FALSE)
  corrected <- mantelhaen.test(tables, correct = TRUE)
  exact <- mantelhaen.test(tables, exact = TRUE)
  cells <- as.vector(apply(tables, 3, function(m) c(m[1, 1], m[1, 2], m[2, 1], m[2, 2])))
  ask("strata", cells, c(plain$statistic, corrected$statistic, plain$p.value, plain$estimate,
                         plain$conf.int, exact$p.value, NA, NA, NA), 1e-6)
}
strata_check(UCBAdmissions)
for (i in 1:20) {
  k <- sample(2:9, 1)
  strata_check(array(rpois(4 * k, rep(c(3, 9, 6, 60), k)) + 1, c(2, 2, k)))
}
p <- c(runif(20)^3, .5, .5, 1, 1e-12)
ask("benjamini", p, p.adjust(p, "BH"))

# --- models of counts ------------------------------------------------------------------------
for (i in 1:15) {
  weeks <- sample(60:200, 1); t <- seq_len(weeks) - 1; h <- sample(0:2, 1); trend <- i %% 2
  y <- rnbinom(weeks, size = 8, mu = exp(2 + .4 * sin(2 * pi * t / 52.1775) + .002 * t))
  terms <- "1"
  if (trend) terms <- c(terms, "t")
  for (k in seq_len(h))
    terms <- c(terms, sprintf(c("cos(2*pi*%d*t/52.1775)", "sin(2*pi*%d*t/52.1775)"), k))
  fit <- glm(as.formula(paste("y ~", paste(terms, collapse = "+"))), family = quasipoisson,
             control = glm.control(epsilon = 1e-13, maxit = 100))
  phi <- max(1, summary(fit)$dispersion)
  new <- data.frame(t = weeks + 3)
  at <- predict(fit, new, se.fit = TRUE, dispersion = phi)
  mean <- exp(at$fit); se <- mean * at$se.fit
  slope <- if (trend) coef(fit)["t"] else 0
  slope_p <- if (trend) 2 * pt(-abs(slope) / sqrt(phi * summary(fit)$cov.unscaled["t", "t"]),
                               fit$df.residual) else 1
  tau <- phi + se^2 / mean
  upper <- mean * (1 + 2 / 3 * qnorm(.995) * sqrt(tau / mean))^1.5
  ask("season", c(h, trend, 0, 52.1775, weeks + 3, .005, t, y),
      c(mean, se, phi, slope, slope_p, deviance(fit), upper), 1e-6)
}
for (i in 1:5) { # run-off of counts: the same totals as a Poisson model of period and delay
  n <- 8; full <- matrix(rpois(n * n, 25 * rep(c(.3, .25, .2, .1, .06, .05, .03, .01), each = n)), n)
  seen <- row(full) + col(full) <= n + 1
  frame <- data.frame(y = full[seen], week = factor(row(full)[seen]), delay = factor(col(full)[seen]))
  fit <- suppressWarnings(glm(y ~ week + delay, poisson, frame,
                              control = glm.control(epsilon = 1e-14, maxit = 200)))
  all <- data.frame(week = factor(as.vector(row(full))), delay = factor(as.vector(col(full))))
  expected <- matrix(predict(fit, all, type = "response"), n)
  total <- rowSums(full * seen) + rowSums(expected * !seen)
  ask("nowcast", c(n, as.vector(t(ifelse(seen, full, -1)))), total, 1e-6)
}

# --- early warning on Salmonella Agona: every step of Farrington's method through `season` ---------
if (requireNamespace("surveillance", quietly = TRUE)) {
  suppressMessages(library(surveillance))
  data(salmonella.agona)
  y <- salmonella.agona$observed; weeks <- 282:312; b <- 4; w <- 3; alpha <- .01
  control <- list(range = weeks, b = b, w = w, reweight = TRUE, alpha = alpha, verbose = FALSE)
  theirs <- as.vector(suppressWarnings(algo.farrington(salmonella.agona, control))$upperbound)
  reference <- function(week) sort(unlist(lapply(1:b, function(k) (week - 52 * k) + (-w:w))))
  ours <- function(week, trend) {
    t <- reference(week)
    line <- paste("season 0", trend, 1, 52.1775, week, alpha / 2, paste(t, collapse = " "),
                  paste(y[t], collapse = " "))
    as.numeric(strsplit(system2(program, input = line, stdout = TRUE), " ")[[1]])
  }
  bounds <- sapply(weeks, function(week) {
    fit <- ours(week, 1)
    if (!(fit[5] < .05 && fit[1] <= max(y[reference(week)]))) fit <- ours(week, 0)
    fit[7]
  })
  off <- max(abs(bounds / theirs - 1))
  cat(sprintf("Farrington bounds, 31 weeks: worst relative difference %.2g\n", off))
  if (off > 1e-4) stop( # glm() stops at a deviance settled to 1e-8
   "Farrington bounds differ from the surveillance package")

  # reports of the haemolytic-uraemic syndrome 2011 as of 2 June: Lawless' nowcast, which they round up; where a fifth and more is in
  data(husO104Hosp)
  now <- as.Date("2011-06-02"); days <- seq(as.Date("2011-05-20"), now - 4, by = "1 day"); D <- 15
  theirs <- nowcast(now = now, when = days, data = husO104Hosp, dEventCol = "dHosp",
                    dReportCol = "dReport", D = D, method = "lawless", control = list(alpha = .1, verbose = FALSE))
  said <- upperbound(theirs)[match(days, epoch(theirs))]
  events <- seq(min(husO104Hosp$dHosp, na.rm = TRUE), now, by = "1 day")
  triangle <- sapply(0:D, function(d) sapply(events, function(day) {
    delay <- pmin(husO104Hosp$dReport - husO104Hosp$dHosp, D)
    if (day + d > now) -1 else sum(husO104Hosp$dHosp == day & delay == d & husO104Hosp$dReport <= now,
                                   na.rm = TRUE)
  }))
  line <- paste("nowcast", D + 1, paste(t(triangle), collapse = " "))
  expected <- as.numeric(strsplit(system2(program, input = line, stdout = TRUE), " ")[[1]])
  off <- said - expected[match(days, events)]
  cat(sprintf("nowcast of %d days: %.2f to %.2f above ours\n", length(days), min(off), max(off)))
  if (min(off) < -1e-6 || max(off) > 1 + 1e-6) stop("nowcasts differ from the surveillance package")
}

got <- answers()
bad <- 0
for (i in seq_along(checks)) {
  want <- unname(checks[[i]]$want); have <- got[[i]]
  known <- !is.na(want)
  same <- length(have) == length(want) &&
    all(have[known] == want[known] |
        abs(have[known] - want[known]) <= checks[[i]]$abs + checks[[i]]$rel * abs(want[known]))
  if (!isTRUE(same)) {
    bad <- bad + 1
    cat("DIFFERS:", substr(checks[[i]]$line, 1, 120), "\n  R:   ", format(want, digits = 12),
        "\n  ours:", format(have, digits = 12), "\n")
  }
}
cat(sprintf("%d comparisons with %s, %d differ\n", length(checks), R.version.string, bad))
quit(status = if (bad > 0) 1 else 0)
