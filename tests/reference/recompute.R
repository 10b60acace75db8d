# Recomputes what the daemon says of times and rates, with other people's code: base R and the
# package survival. README.md has the tables that go in and come out.

level <- 0.95
strength_max <- 1000

usage <- function(...) {
  message(..., "\nusage: Rscript recompute.R curves|rates [FILE]\n",
          "FILE is a CSV with a header; without it, standard input. README.md has the columns.")
  quit(status = 2)
}

# The columns `needed`, and those of `optional` that are there, as numbers, and `group` as text; by
# row number where there is none.
read_table <- function(file, needed, optional = NULL) {
  table <- tryCatch(read.csv(if (is.na(file)) file("stdin") else file, colClasses = "character"),
                    error = function(e) usage(conditionMessage(e)))
  missing <- setdiff(needed, names(table))
  if (length(missing) > 0) usage("no column ", paste(missing, collapse = ", "))
  needed <- c(needed, intersect(optional, names(table)))
  for (name in needed) table[[name]] <- suppressWarnings(as.numeric(table[[name]]))
  bad <- which(!stats::complete.cases(table[needed]))
  if (length(bad) > 0) usage("row ", bad[1], ": expected numbers")
  if (!"group" %in% names(table)) table$group <- as.character(seq_len(nrow(table)))
  writeLines("group,figure,at,value")
  table
}

# One line a figure: group,figure,at,value. What does not exist is left out.
emit <- function(group, figure, at, value) {
  keep <- !is.na(value)
  if (!any(keep)) return(invisible())
  at <- rep_len(at, length(value))[keep]
  writeLines(paste(rep_len(group, length(value))[keep], figure,
                   ifelse(is.na(at), "", sprintf("%.15g", at)), sprintf("%.17g", value[keep]),
                   sep = ","))
}

# The first time at which S has come down to 1 - q; survival's own quantile() takes the middle
# where S equals 1 - q between two times.
first_below <- function(times, s, q) {
  reached <- !is.na(s) & 1 - s >= q * (1 - 1e-12)
  if (any(reached)) times[which(reached)[1]] else NA
}

curve_of <- function(group, rows) {
  fit <- survival::survfit(survival::Surv(duration, event) ~ 1, data = rows, weights = weight,
                           id = seq_len(nrow(rows)), robust = TRUE, conf.type = "log-log",
                           conf.int = level, se.fit = TRUE)
  table <- summary(fit, censored = FALSE)
  at <- table$time
  # Limits exist while S is strictly between 0 and 1.
  inner <- table$surv > 0 & table$surv < 1
  low <- ifelse(inner, table$lower, NA)
  high <- ifelse(inner, table$upper, NA)
  at_risk <- vapply(at, function(u) {
    w <- rows$weight[rows$duration >= u]
    sum(w)^2 / sum(w^2)
  }, 0)
  emit(group, "survival", at, table$surv)
  emit(group, "std_error", at, ifelse(inner, table$std.err, NA))
  emit(group, "low", at, low)
  emit(group, "high", at, high)
  emit(group, "at_risk", at, at_risk)
  for (q in c(0.5, 0.9)) {
    quantile <- first_below(at, table$surv, q)
    if (is.na(quantile)) next
    emit(group, "quantile", q, quantile)
    emit(group, "quantile_low", q, first_below(at, low, q))
    emit(group, "quantile_high", q, first_below(at, high, q))
  }
}

curves <- function(file) {
  table <- read_table(file, c("duration", "event", "weight"))
  table <- table[table$weight > 0, ]
  for (group in sort(unique(table$group))) {
    rows <- table[table$group == group, ]
    if (any(rows$event == 1)) curve_of(group, rows)
  }
}

log_likelihood <- function(a, b, late, n) {
  sum(lbeta(a + late, b + pmax(0, n - late)) - lbeta(a, b))
}

# Maximum likelihood in (log a, log b), from where a grid is highest; NULL when the maximum lies at
# the upper end of the strengths or beyond.
likeliest <- function(late, n) {
  if (sum(n > 0) < 2 || sum(late) <= 0 || sum(late) >= sum(n)) return(NULL)
  mean <- sum(late) / sum(n)
  strengths <- exp(seq(0, log(strength_max), length.out = 60))
  heights <- vapply(strengths, function(m) log_likelihood(mean * m, (1 - mean) * m, late, n), 0)
  m <- strengths[which.max(heights)]
  minus <- function(p) -log_likelihood(exp(p[1]), exp(p[2]), late, n)
  slope <- function(p) {
    a <- exp(p[1])
    b <- exp(p[2])
    misses <- pmax(0, n - late)
    shared <- digamma(a + b) - digamma(a + b + late + misses)
    -c(a * sum(digamma(a + late) - digamma(a) + shared),
       b * sum(digamma(b + misses) - digamma(b) + shared))
  }
  best <- optim(log(c(mean * m, (1 - mean) * m)), minus, slope, method = "BFGS",
                control = list(reltol = 1e-15, maxit = 1000))
  fitted <- exp(best$par)
  if (sum(fitted) >= strength_max) NULL else fitted
}

rates <- function(file) {
  table <- read_table(file, c("late", "n"), c("prior_a", "prior_b"))
  emit("", "orders", NA, sum(table$n))
  emit("", "late", NA, sum(table$late))
  fitted <- likeliest(table$late, table$n)
  if (!is.null(fitted)) {
    emit("", "a", NA, fitted[1])
    emit("", "b", NA, fitted[2])
    emit("", "log_likelihood", NA, log_likelihood(fitted[1], fitted[2], table$late, table$n))
  }
  if (all(c("prior_a", "prior_b") %in% names(table))) {
    if (any(table$prior_a <= 0 | table$prior_b <= 0)) usage("a prior is two numbers above 0")
  } else if (!is.null(fitted)) {
    table$prior_a <- fitted[1]
    table$prior_b <- fitted[2]
  } else {
    return(invisible())
  }
  a <- table$prior_a + table$late
  b <- table$prior_b + pmax(0, table$n - table$late)
  emit(table$group, "estimate", NA, a / (a + b))
  emit(table$group, "low", NA, qbeta((1 - level) / 2, a, b))
  emit(table$group, "high", NA, qbeta((1 - level) / 2, a, b, lower.tail = FALSE))
}

main <- function(args) {
  if (length(args) < 1 || length(args) > 2) usage("")
  switch(args[1], curves = curves(args[2]), rates = rates(args[2]), usage("unknown: ", args[1]))
}

main(commandArgs(trailingOnly = TRUE))
