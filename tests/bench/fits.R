# fits.R - a workload of fits.c by R's libraries (lme4, pbkrtest; base R).
#   Rscript fits.R WORKLOAD FILE RUNS
# Prints, parted by tabs: workload, median seconds, what it came to, versions.
# Reading the file is not timed.
a <- commandArgs(TRUE)
work <- a[1]
runs <- as.integer(a[3])
suppressMessages(library(lme4))
d <- read.csv(a[2], colClasses = "character")
number <- function(x) suppressWarnings(as.numeric(x))
z <- data.frame(
  patient = factor(d$patient), case = factor(d$case),
  side = factor(paste(d$case, d$side)),
  place = factor(paste(d$case, d$site_no)),
  age = number(d$age_y), sex = factor(d$sex), site = number(d$site_no),
  second = number(d$aliquot_no) - 1, volume = log(number(d$volume_ml)),
  syringe = factor(d$syringe_ml, levels = c("5", "10", "20", "50")),
  y = log(number(d$tnc_e6_per_ml)), dish = number(d$dish_1),
  plated = log(number(d$cells_plated) / 1e6))
cells <- z[!is.na(z$y), ]
dishes <- z[!is.na(z$dish) & !is.na(z$plated), ]
dishes$age <- (dishes$age - 55) / 10
fixed <- "y ~ age + sex + site + second + volume + syringe"
tree <- "(1 | patient) + (1 | case) + (1 | side) + (1 | place)"
full <- as.formula(paste(fixed, "+", tree))
colonies <- dish ~ age + sex + site + second + offset(plated) + (1 | patient)
clock <- function(e) {
  gc(FALSE)
  system.time(e)[["elapsed"]]
}
used <- paste("lme4", packageVersion("lme4"))
fit <- NULL
if (work %in% c("kenward-roger", "profile-one")) {
  fit <- lmer(full, cells, REML = work == "kenward-roger")
  if (work == "kenward-roger") {
    suppressMessages(library(pbkrtest))
    used <- paste("pbkrtest", packageVersion("pbkrtest"))
  }
}
took <- numeric(runs)
answer <- NA
for (i in seq_len(runs)) took[i] <- clock(answer <- switch(work,
  "four-levels" = fixef(lmer(full, cells))[["second"]],
  "one-level" = fixef(lmer(as.formula(paste(fixed, "+ (1 | case)")),
                           cells))[["second"]],
  "kenward-roger" = {
    v <- vcovAdj(fit)
    Lb_ddf(c(0, 0, 0, 0, 1, 0, 0, 0, 0), vcov(fit), v)
  },
  "profile-one" = confint(fit, parm = "second", method = "profile",
                          quiet = TRUE)[1],
  "poisson-nodes-9" = fixef(glmer(colonies, dishes, family = poisson,
                                  nAGQ = 9))[["second"]],
  "nb2-nodes-9" = fixef(glmer.nb(colonies, dishes))[["second"]],
  "least-squares" = coef(lm(as.formula(fixed), cells))[["second"]],
  stop("no such workload")))
cat(sprintf("%s\t%.6f\t%.9g\t%s, R %s\n", work, median(took), answer, used,
            getRversion()))
