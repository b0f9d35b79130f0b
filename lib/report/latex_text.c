/* latex_text.c - one gate for all text of the LaTeX form; see latex_text.h. */
#include "report/latex_text.h"
#include "report/clean.h"

#include <string.h>

/* LuaLaTeX and XeLaTeX try their font; pdfLaTeX says the code point. */
const char pd_latex_macros[] =
    "\\ifx\\Umathchar\\undefined\n"
    "  \\providecommand{\\perdrawchar}[1]{{[}U+#1{]}\\allowbreak}\n"
    "\\else\n"
    "  \\providecommand{\\perdrawchar}[1]{{\\char\"#1}}\n"
    "\\fi\n";

struct sign {
	uint32_t c;
	const char *latex;
};

/* Sorted by no rule but kind: the list is short. */
static const struct sign signs[] = {
	/* active, or read otherwise somewhere in a table */
	{ '\\', "\\textbackslash{}" }, { '{', "\\{" },
	{ '}', "\\}" }, { '$', "\\$" }, { '&', "\\&" }, { '#', "\\#" },
	{ '%', "\\%" }, { '_', "\\_" }, { '^', "\\textasciicircum{}" },
	{ '~', "\\textasciitilde{}" }, { '<', "\\textless{}" },
	{ '>', "\\textgreater{}" }, { '|', "\\textbar{}" },
	{ '"', "{\\char34}" }, { '`', "{\\char96}" }, 
	{ '[', "{[}" }, { ']', "{]}" }, { '*', "{*}" },
	/* blanks, dashes, quotation marks */
	{ 0x00A0, "~" }, { 0x2009, "\\," }, { 0x202F, "\\," },
	{ 0x2010, "-{}" }, { 0x2011, "-{}" }, { 0x2013, "\\textendash{}" },
	{ 0x2014, "\\textemdash{}" }, { 0x2018, "\\textquoteleft{}" },
	{ 0x2019, "\\textquoteright{}" }, { 0x201C, "\\textquotedblleft{}" },
	{ 0x201D, "\\textquotedblright{}" }, { 0x2022, "\\textbullet{}" },
	{ 0x2026, "\\ldots{}" },
	/* Latin-1 signs that math has in every encoding */
	{ 0x00B1, "$\\pm$" }, { 0x00D7, "$\\times$" }, { 0x00F7, "$\\div$" },
	{ 0x00B7, "$\\cdot$" }, { 0x00B5, "$\\mu$" }, { 0x00AC, "$\\neg$" },
	{ 0x00B0, "$^{\\circ}$" }, { 0x00B9, "$^{1}$" }, { 0x00B2, "$^{2}$" },
	{ 0x00B3, "$^{3}$" }, { 0x00A7, "\\S{}" }, { 0x00B6, "\\P{}" },
	{ 0x00A3, "\\pounds{}" }, { 0x00A9, "\\copyright{}" },
	/* numbers and relations */
	{ 0x2212, "$-$" }, { 0x2070, "$^{0}$" }, { 0x2074, "$^{4}$" },
	{ 0x2075, "$^{5}$" }, { 0x2076, "$^{6}$" }, { 0x2077, "$^{7}$" },
	{ 0x2078, "$^{8}$" }, { 0x2079, "$^{9}$" }, { 0x207B, "$^{-}$" },
	{ 0x2080, "$_{0}$" }, { 0x2081, "$_{1}$" }, { 0x2082, "$_{2}$" },
	{ 0x2264, "$\\leq$" }, { 0x2265, "$\\geq$" }, { 0x2248, "$\\approx$" },
	{ 0x2260, "$\\neq$" }, { 0x221E, "$\\infty$" }, { 0x221A, "$\\surd$" },
	{ 0x2190, "$\\leftarrow$" }, { 0x2192, "$\\rightarrow$" },
	{ 0x2191, "$\\uparrow$" }, { 0x2193, "$\\downarrow$" },
	/* verdicts */
	{ 0x25B2, "$\\bigtriangleup$" }, { 0x25BC, "$\\bigtriangledown$" },
	{ 0x25A0, "\\rule{1ex}{1ex}" }, { 0x25C7, "$\\diamond$" },
	/* Greek that names quantities */
	{ 0x03B1, "$\\alpha$" }, { 0x03B2, "$\\beta$" },
	{ 0x03B3, "$\\gamma$" }, { 0x03B4, "$\\delta$" },
	{ 0x03BB, "$\\lambda$" }, { 0x03BC, "$\\mu$" },
	{ 0x03C1, "$\\rho$" }, { 0x03C3, "$\\sigma$" },
	{ 0x03C4, "$\\tau$" }, { 0x03C7, "$\\chi$" },
	{ 0x0394, "$\\Delta$" }, { 0x03A3, "$\\Sigma$" },
};

/* Letters with accents that pdfLaTeX makes of UTF-8 in OT1 and T1 alike. */
static bool is_letter(uint32_t c)
{
	static const uint32_t beyond[] = {
		0x102, 0x103, 0x106, 0x107, 0x10C, 0x10D, 0x10E, 0x10F, 0x11A,
		0x11B, 0x11E, 0x11F, 0x130, 0x131, 0x139, 0x13A, 0x13D, 0x13E,
		0x141, 0x142, 0x143, 0x144, 0x147, 0x148, 0x150, 0x151, 0x152,
		0x153, 0x154, 0x155, 0x158, 0x159, 0x15A, 0x15B, 0x15E, 0x15F,
		0x160, 0x161, 0x164, 0x165, 0x16E, 0x16F, 0x170, 0x171, 0x178,
		0x179, 0x17A, 0x17B, 0x17C, 0x17D, 0x17E
	};

	if (c >= 0xC0 && c <= 0xFF) /* without thorn, eth: not in OT1 */
		return c != 0xD0 && c != 0xDE && c != 0xF0 && c != 0xFE;
	for (size_t i = 0; i < sizeof beyond / sizeof *beyond; i++)
		if (beyond[i] == c)
			return true;
	return false;
}

static const char *sign_of(uint32_t c)
{
	for (size_t i = 0; i < sizeof signs / sizeof *signs; i++)
		if (signs[i].c == c)
			return signs[i].latex;
	return NULL;
}

static bool is_blank(uint32_t c)
{
	return c == ' ' || c == 0x2009;
}

/* Signs to the next blank or end. */
static size_t word_length(const char *text)
{
	size_t n = 0;

	for (uint32_t c; (c = pd_clean_next(&text)) && !is_blank(c);)
		n++;
	return n;
}

/* A long word without a blank may break anywhere, without a hyphen that would
 * change a name or a hash; or it would run over the next column. */
enum { LONG_WORD = 18, BREAK_EVERY = 3 };

void pd_latex_add(pd_buf *out, const char *text)
{
	uint32_t last = 0;
	size_t word = word_length(text), at = 0;

	for (uint32_t c; (c = pd_clean_next(&text)); last = c) {
		const char *sign = sign_of(c);

		if (is_blank(c)) {
			word = word_length(text);
			at = 0;
		} else if (word > LONG_WORD && at++ && at % BREAK_EVERY == 1) {
			pd_buf_add(out, "\\allowbreak{}");
		}

		if (c == last && (c == '-' || c == ',' || c == '\''))
			pd_buf_add(out, "{}"); /* "--" stays two signs */
		if (sign)
			pd_buf_add(out, sign);
		else if (c == ' ' && last == ' ')
			pd_buf_add(out, "\\ ");
		else if (c < 0x80 || is_letter(c))
			pd_clean_put(out, c);
		else
			pd_buf_print(out, "\\perdrawchar{%04X}", (unsigned)c);
	}
}
