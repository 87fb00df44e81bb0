# SPDX-License-Identifier: GPL-3.0-or-later
# The tables of beside.h through R's own functions: a line each, its name, microseconds, its p or last value.
suppressMessages(library(survival))
options(warn = -1)
microseconds <- function(times, call) {
    took <- replicate(5, system.time(for (i in seq_len(times)) call())[["elapsed"]])
    1e6 * median(took) / times
}
tell <- function(name, times, call, value)
    cat(name, format(microseconds(times, call), digits = 17), format(value(call()), digits = 17), "\n")

two <- matrix(c(12, 28, 5, 40), 2, byrow = TRUE)
six <- matrix(c(30, 170, 50, 150, 10, 190, 80, 120, 20, 180, 40, 160), ncol = 2, byrow = TRUE)
i <- 0:299
time <- (i * 37) %% 60 + 1
lost <- i %% 3 == 0
group <- (i %/% 7) %% 3
tell("two", 200, function() fisher.test(two, conf.int = FALSE), function(x) x$p.value)
tell("groups", 50, function() chisq.test(six), function(x) x$p.value)
tell("survival", 50, function() survfit(Surv(time, lost) ~ 1), function(x) tail(x$surv, 1))
tell("logrank", 50, function() survdiff(Surv(time, lost) ~ group),
     function(x) pchisq(x$chisq, length(x$n) - 1, lower.tail = FALSE))
