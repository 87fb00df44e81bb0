# SPDX-License-Identifier: GPL-3.0-or-later
# The posteriors of tests/outside/data/make-soybean once more, timed; and the same data for soybean.py.
#
#     Rscript --vanilla soybean.R FOLDER
suppressPackageStartupMessages({
    library(e1071)
    library(mlbench)
})
folder <- commandArgs(trailingOnly = TRUE)[1]
data(Soybean)
train <- Soybean[seq(1, 683, 2), ]
test <- Soybean[seq(2, 683, 2), ]
codes <- function(rows) cbind(sapply(rows[-1], function(x) ifelse(is.na(x), -1L, as.integer(x) - 1L)), as.integer(rows$Class) - 1L)
write.table(rbind(c(sapply(Soybean[-1], nlevels), nlevels(Soybean$Class)), codes(train)), file.path(folder, "train.txt"),
            row.names = FALSE, col.names = FALSE)
write.table(codes(test), file.path(folder, "test.txt"), row.names = FALSE, col.names = FALSE)
model <- naiveBayes(Class ~ ., data = train, laplace = 1, na.action = na.pass)
took <- replicate(5, system.time(posterior <<- predict(model, test, type = "raw"))[["elapsed"]])
cat(format(1000 * median(took), digits = 17), format(sum(posterior[, 1]), digits = 17), "\n")
