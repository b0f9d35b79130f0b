/*
 * compose_paper_sources.c - published sources, numbered in the order the text
 * names them, only those it names; and the statement of software and data.
 */
#include "report/compose_paper.h"
#include "report/compose_words.h"

#include <string.h>

/* In the order of pd_cited; as the pages of docs/methods cite them. */
static const char *const full[PD_N_CITED] = {
	"Student. The probable error of a mean. Biometrika. 1908;6(1):1-25.",
	"Harville DA. Maximum likelihood approaches to variance component "
	"estimation and to related problems. J Am Stat Assoc. 1977;72(358):"
	"320-338.",
	"Kenward MG, Roger JH. Small sample inference for fixed effects from "
	"restricted maximum likelihood. Biometrics. 1997;53(3):983-997.",
	"Neuhaus JM, Kalbfleisch JD. Between- and within-cluster covariate "
	"effects in the analysis of clustered data. Biometrics. 1998;54(2):"
	"638-645.",
	"Rubin DB. Multiple Imputation for Nonresponse in Surveys. New York: "
	"Wiley; 1987.",
	"Barnard J, Rubin DB. Small-sample degrees of freedom with multiple "
	"imputation. Biometrika. 1999;86(4):948-955.",
	"Lubin JH, Colt JS, Camann D, et al. Epidemiologic evaluation of "
	"measurement data in the presence of detection limits. Environ Health "
	"Perspect. 2004;112(17):1691-1696.",
	"Durrleman S, Simon R. Flexible regression models with cubic splines. "
	"Stat Med. 1989;8(5):551-561.",
	"Wagner AK, Soumerai SB, Zhang F, Ross-Degnan D. Segmented regression "
	"analysis of interrupted time series studies in medication use "
	"research. J Clin Pharm Ther. 2002;27(4):299-309.",
	"Cox DR, Snell EJ. Analysis of Binary Data. 2nd ed. London: Chapman & "
	"Hall; 1989.",
	"Schuirmann DJ. A comparison of the two one-sided tests procedure and "
	"the power approach for assessing the equivalence of average "
	"bioavailability. J Pharmacokinet Biopharm. 1987;15(6):657-680.",
	"Holm S. A simple sequentially rejective multiple test procedure. "
	"Scand J Stat. 1979;6(2):65-70.",
	"Benjamini Y, Hochberg Y. Controlling the false discovery rate: a "
	"practical and powerful approach to multiple testing. J R Stat Soc "
	"Series B. 1995;57(1):289-300.",
	"Pocock SJ. Group sequential methods in the design and analysis of "
	"clinical trials. Biometrika. 1977;64(2):191-199.",
	"Lan KKG, DeMets DL. Discrete sequential boundaries for clinical "
	"trials. Biometrika. 1983;70(3):659-663.",
	"Robbins H. Statistical methods related to the law of the iterated "
	"logarithm. Ann Math Stat. 1970;41(5):1397-1409.",
	"Howard SR, Ramdas A, McAuliffe J, Sekhon J. Time-uniform, "
	"nonparametric, nonasymptotic confidence sequences. Ann Stat. 2021;"
	"49(2):1055-1080.",
	"Wilcoxon F. Individual comparisons by ranking methods. Biometrics "
	"Bull. 1945;1(6):80-83.",
	"Hodges JL Jr, Lehmann EL. Estimates of location based on rank tests. "
	"Ann Math Stat. 1963;34(2):598-611.",
	"Mann HB, Whitney DR. On a test of whether one of two random variables "
	"is stochastically larger than the other. Ann Math Stat. 1947;18(1):"
	"50-60.",
	"Phipson B, Smyth GK. Permutation P-values should never be zero: "
	"calculating exact P-values when permutations are randomly drawn. Stat "
	"Appl Genet Mol Biol. 2010;9:Article39.",
	"Efron B. Better bootstrap confidence intervals. J Am Stat Assoc. "
	"1987;82(397):171-185.",
	"Li F, Morgan KL, Zaslavsky AM. Balancing covariates via propensity "
	"score weighting. J Am Stat Assoc. 2018;113(521):390-400.",
	"Lunceford JK, Davidian M. Stratification and weighting via the "
	"propensity score in estimation of causal treatment effects: a "
	"comparative study. Stat Med. 2004;23(19):2937-2960.",
	"Bell RM, McCaffrey DF. Bias reduction in standard errors for linear "
	"regression with multi-stage samples. Surv Methodol. 2002;28(2):"
	"169-181.",
	"Pustejovsky JE, Tipton E. Small-sample methods for cluster-robust "
	"variance estimation and hypothesis testing in fixed effects models. J "
	"Bus Econ Stat. 2018;36(4):672-683.",
	"Lawless JF. Negative binomial and mixed Poisson regression. Can J "
	"Stat. 1987;15(3):209-225.",
	"Pinheiro JC, Bates DM. Approximations to the log-likelihood function "
	"in the nonlinear mixed-effects model. J Comput Graph Stat. 1995;4(1):"
	"12-35.",
	"Austin PC. Balance diagnostics for comparing the distribution of "
	"baseline covariates between treatment groups in propensity-score "
	"matched samples. Stat Med. 2009;28(25):3083-3107.",
	"Yang D, Dalton JE. A unified approach to measuring the effect size "
	"between two groups using SAS. SAS Global Forum 2012; paper 335-2012.",
	"Hyndman RJ, Fan Y. Sample quantiles in statistical packages. Am Stat. "
	"1996;50(4):361-365 (definition 7).",
	"Clopper CJ, Pearson ES. The use of confidence or fiducial limits "
	"illustrated in the case of the binomial. Biometrika. 1934;26(4):"
	"404-413.",
	"Venzon DJ, Moolgavkar SH. A method for computing "
	"profile-likelihood-based confidence intervals. J R Stat Soc Series C. "
	"1988;37(1):87-94.",
	"Chan ISF, Zhang Z. Test-based exact confidence intervals for the "
	"difference of two binomial proportions. Biometrics. 1999;55(4):"
	"1202-1209.",
	"Berger RL, Boos DD. P values maximized over a confidence set for the "
	"nuisance parameter. J Am Stat Assoc. 1994;89(427):1012-1016.",
	"Miettinen O, Nurminen M. Comparative analysis of two rates. Stat Med. "
	"1985;4(2):213-226.",
	"Peduzzi P, Concato J, Kemper E, Holford TR, Feinstein AR. A simulation "
	"study of the number of events per variable in logistic regression "
	"analysis. J Clin Epidemiol. 1996;49(12):1373-1379.",
	"von Elm E, Altman DG, Egger M, et al. The Strengthening the Reporting "
	"of Observational Studies in Epidemiology (STROBE) statement. Lancet. "
	"2007;370(9596):1453-1457.",
	"Benchimol EI, Smeeth L, Guttmann A, et al. The REporting of studies "
	"Conducted using Observational Routinely-collected health Data (RECORD) "
	"statement. PLoS Med. 2015;12(10):e1001885.",
	"Des Jarlais DC, Lyles C, Crepaz N. Improving the reporting quality of "
	"nonrandomized evaluations of behavioral and public health "
	"interventions: the TREND statement. Am J Public Health. 2004;94(3):"
	"361-366.",
	"Piaggio G, Elbourne DR, Pocock SJ, Evans SJW, Altman DG. Reporting of "
	"noninferiority and equivalence randomized trials: extension of the "
	"CONSORT 2010 statement. JAMA. 2012;308(24):2594-2604.",
	"Murray IR, Geeslin AG, Goudie EB, Petrigliano FA, LaPrade RF. Minimum "
	"information for studies evaluating biologics in orthopaedics (MIBO): "
	"platelet-rich plasma and mesenchymal stem cells. J Bone Joint Surg "
	"Am. 2017;99(10):809-819.",
};

static size_t number_of(pd_paper_doc *w, pd_cited c)
{
	size_t i = 0;

	while (i < w->n_cited && w->cited[i] != c)
		i++;
	if (i == w->n_cited)
		w->cited[w->n_cited++] = c;
	return i + 1;
}

const char *pd_paper_cite(pd_paper_doc *w, pd_cited a)
{
	return pd_doc_print(w->d, "[%zu]", number_of(w, a));
}

const char *pd_paper_cite_two(pd_paper_doc *w, pd_cited a, pd_cited b)
{
	size_t i = number_of(w, a);

	return pd_doc_print(w->d, "[%zu,%zu]", i, number_of(w, b));
}

void pd_paper_sources(pd_paper_doc *w)
{
	pd_block *list;

	if (!w->n_cited)
		return;
	pd_doc_heading(w->d, 2, "cited", "Published sources named above");
	pd_doc_paragraph(w->d, PD_QUIET,
	                 "Only what the text and tables above name. Check each "
	                 "against the original before submission.");
	list = pd_doc_list(w->d);
	for (size_t i = 0; i < w->n_cited; i++)
		pd_doc_item(
		    w->d, list,
		    pd_doc_print(w->d, "[%zu] %s", i + 1, full[w->cited[i]]));
}

const char *pd_paper_years(pd_doc *d, const pd_review *r)
{
	const char *from = r->first_case, *to = r->last_case;

	if (!from || !to || strlen(from) < 4 || strlen(to) < 4)
		return NULL;
	if (strncmp(from, to, 4) == 0)
		return pd_doc_print(d, "%.4s", from);
	return pd_doc_print(d, "%.4s to %.4s", from, to);
}

/* --- software and data --------------------------------------------------- */

static const char *libraries(pd_paper_doc *w)
{
	pd_buf b;

	pd_buf_init(&b);
	for (size_t i = 0; i < w->p->n_libraries; i++)
		pd_buf_print(&b, "%s%s",
		             i == 0                       ? ""
		             : i + 1 == w->p->n_libraries ? " and "
		                                          : ", ",
		             w->p->library[i]);
	return pd_doc_take(w->d, &b);
}

void pd_paper_statement(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	const char *libs = libraries(w), *years = pd_paper_years(w->d, r);
	pd_block *list;

	pd_doc_heading(w->d, 2, "software", "Software and data");
	pd_doc_paragraph(
	    w->d, PD_PLAIN,
	    pd_doc_print(
	        w->d,
	        "Analyses were made with perdraw %s%s%s. The same "
	        "database, plan and seed (%llu) give the same numbers.",
	        r->version, libs ? ", with " : "", libs ? libs : "", r->seed));
	pd_doc_paragraph(
	    w->d, PD_PLAIN,
	    pd_doc_print(
	        w->d,
	        "Data availability: [for the author to complete: "
	        "where a de-identified data set can be had, from whom, "
	        "under which terms and approval]. Years of the "
	        "draws: %s.",
	        years ? years : "not recorded"));
	list = pd_doc_definitions(w->d);
	pd_doc_define(w->d, list, "SHA-256 of the plan", r->plan_sha256);
	pd_doc_define(w->d, list, "Head of the audit chain", r->audit_head);
	pd_doc_define(w->d, list, "Seed of random numbers",
	              pd_doc_print(w->d, "%llu", r->seed));
	pd_doc_define(w->d, list, "Open warnings about values",
	              pd_say_count(w->d, r->n_warnings));
	pd_doc_paragraph(
	    w->d, PD_PLAIN,
	    w->p->n_sources == 1
	        ? "One file was loaded:"
	        : pd_doc_print(w->d, "%s files were loaded:",
	                       pd_say_count(w->d, w->p->n_sources)));
	list = pd_doc_list(w->d);
	for (size_t i = 0; i < w->p->n_sources; i++)
		pd_doc_item(w->d, list, w->p->source[i]);
}
