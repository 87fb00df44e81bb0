# SPDX-License-Identifier: GPL-3.0-or-later
# Answers the statistical questions in a file with R's own functions, and adds questions from its classic data sets.
#
#     Rscript --vanilla review_r.R QUESTIONS
#
# A question is a line: its kind, then numbers. Each comes back as "question|answers", to be computed again and compared.

interval <- function(x, n, level)
    c(binom.test(x, n, conf.level = level)$conf.int, prop.test(x, n, conf.level = level, correct = FALSE)$conf.int)

tails <- function(x, n, rate) c(pbinom(x - 1, n, rate, lower.tail = FALSE), pbinom(x, n, rate))

pair <- function(...) fisher.test(matrix(c(...), ncol = 2, byrow = TRUE))$p.value

# From tables drawn at random, and from the chi-square distribution.
set.seed(20250301)
groups <- function(...) {
    table <- matrix(c(...), ncol = 2, byrow = TRUE)
    c(chisq.test(table, simulate.p.value = TRUE, B = 20000)$p.value, suppressWarnings(chisq.test(table, correct = FALSE)$p.value))
}

# Strata of lost and kept in groups: an array group x (lost, kept) x stratum.
stack <- function(groups, ...) aperm(array(c(...), c(2, groups, length(c(...)) / 2 / groups)), c(2, 1, 3))

strata <- function(groups, ...) {
    test <- mantelhaen.test(stack(groups, ...), correct = FALSE)
    c(test$statistic, test$p.value, test$parameter)
}

suppressMessages(library(survival))
options(warn = -1) # of chi-square from small counts, and the like

curve <- function(...) {
    cases <- matrix(c(...), ncol = 2, byrow = TRUE)
    fit <- survfit(Surv(cases[, 1], cases[, 2]) ~ 1)
    c(quantile(fit, 0.5)$quantile, rbind(fit$time, fit$n.risk, fit$n.event, fit$surv))
}

logrank <- function(groups, ...) {
    cases <- matrix(c(...), ncol = 3, byrow = TRUE)
    test <- survdiff(Surv(cases[, 1], cases[, 2]) ~ cases[, 3])
    c(test$chisq, pchisq(test$chisq, groups - 1, lower.tail = FALSE))
}

# First count as rare as `tail` from below and from above.
limits <- function(n, centre, tail) {
    below <- which(pbinom(0:n, n, centre) <= tail) - 1
    above <- which(pbinom(0:n - 1, n, centre, lower.tail = FALSE) <= tail) - 1
    c(if (length(below)) max(below) else -1, if (length(above)) min(above) else n + 1)
}

bayes <- function(a, b, ...) {
    table <- matrix(c(...), ncol = 2, byrow = TRUE)
    own <- sum(lbeta(a + table[, 1], b + table[, 2])) - nrow(table) * lbeta(a, b)
    own - lbeta(a + sum(table[, 1]), b + sum(table[, 2])) + lbeta(a, b)
}

adjust <- function(...) p.adjust(c(...), "BH")

ask <- function(question) {
    words <- strsplit(question, " ")[[1]]
    answers <- do.call(words[1], as.list(as.numeric(words[-1])))
    cat(question, "|", paste(sprintf("%.17g", as.numeric(answers)), collapse = " "), "\n", sep = "")
}

question <- function(kind, numbers) ask(paste(c(kind, sprintf("%.17g", as.numeric(numbers))), collapse = " "))

classics <- function() {
    flat <- function(table) aperm(table, c(2, 1, 3)) # each stratum's rows one after the other
    question("strata", c(2, flat(UCBAdmissions)))
    question("pair", c(2, 15, 10, 3))                       # convictions of twins, ?fisher.test
    losses <- table(infert$education, infert$case)[, 2:1]
    question("groups", t(losses))
    question("strata", c(3, aperm(table(infert$education, infert$case, infert$parity > 2)[, 2:1, ], c(2, 1, 3))))
    question("strata", c(4, aperm(HairEyeColor[, c("Blue", "Brown"), ], c(2, 1, 3))))
    question("curve", rbind(aml$time, aml$status))
    question("curve", rbind(lung$time, lung$status - 1))
    question("curve", rbind(veteran$time, veteran$status))
    question("logrank", c(2, rbind(aml$time, aml$status, as.integer(aml$x) - 1)))
    question("logrank", c(2, rbind(lung$time, lung$status - 1, lung$sex - 1)))
    question("logrank", c(4, rbind(veteran$time, veteran$status, as.integer(veteran$celltype) - 1)))
    question("logrank", c(2, rbind(ovarian$futime, ovarian$fustat, ovarian$rx - 1)))
}

for (line in readLines(commandArgs(TRUE)[1])) ask(line)
classics()
