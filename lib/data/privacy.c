/*
 * privacy.c - looks only at spelling: it can be fooled, and says so in the
 * manual. What it lets through is still the clinic's own responsibility.
 * The kinds of identifier follow 45 CFR 164.514(b)(2); header words in seven
 * languages are common use, no source.
 */
#include "data/privacy.h"
#include "base/scan.h"

#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* The whole header, folded. */
static const char *const whole[] = {
	"name", "names", "full name", "patient name", "name patient", "nom",
	"nome", "nombre", "naam", "initials", "patient initials", "id no",
	"email", "e mail", "mail", "phone", "tel", "fax", "address", "ssn",
	"mrn", "dob", "zip", "plz", "nhs", "svnr", "bsn",
};
/* A word, or words in a row, anywhere in the header. */
static const char *const within[] = {
	/* English */
	"surname", "lastname", "last name", "firstname", "first name",
	"forename", "given name", "family name", "maiden name", "patient name",
	"dob", "birthdate", "birth date", "date of birth", "birthday", "ssn",
	"social security", "mrn", "medical record", "record number",
	"record no", "hospital number", "hospital no", "chart number",
	"insurance", "nhs number", "passport", "phone", "telephone", "mobile",
	"fax", "email", "e mail", "address", "street", "postcode",
	"postal code", "zip code",
	/* German */
	"nachname", "vorname", "familienname", "geburtsdatum", "geburtstag",
	"geb datum", "versichertennummer", "versicherungsnummer", "telefon",
	"handy", "anschrift", "adresse", "strasse", "postleitzahl",
	/* French */
	"prenom", "nom de famille", "date de naissance", "securite sociale",
	"courriel", "code postal", "numero de dossier",
	/* Spanish */
	"apellido", "apellidos", "fecha de nacimiento", "correo", "telefono",
	"direccion", "historia clinica", "codigo postal",
	/* Italian */
	"cognome", "data di nascita", "codice fiscale", "indirizzo",
	"cellulare",
	/* Portuguese */
	"sobrenome", "apelido", "data de nascimento", "endereco", "telefone",
	/* Dutch */
	"achternaam", "voornaam", "geboortedatum", "adres", "telefoon",
};

/* Accented letters of Latin-1 as their base letter: U+00C0 .. U+00FF. */
static char base_letter(unsigned char second)
{
	static const char letters[] =
	    "aaaaaaaceeeeiiiidnooooo ouuuuypsaaaaaaaceeeeiiiidnooooo ouuuuypy";

	return letters[second & 0x3f];
}

/* Lower case, accents off, anything else a single blank; blanks around. */
static void fold_header(const char *s, size_t n, char out[128])
{
	size_t k = 1;

	out[0] = ' ';
	for (size_t i = 0; i < n && k < 125; i++) {
		unsigned char c = (unsigned char)s[i];
		char x = ' ';

		if (c == 0xc3 && i + 1 < n)
			x = base_letter((unsigned char)s[++i]);
		else if (pd_is_letter(s[i]) || pd_is_digit(s[i]))
			x = pd_lower(s[i]);
		if (x != ' ' || out[k - 1] != ' ')
			out[k++] = x;
	}
	if (out[k - 1] != ' ')
		out[k++] = ' ';
	out[k] = '\0';
}

bool pd_private_header(const char *header, size_t n)
{
	char h[128];

	fold_header(header, n, h);
	for (size_t i = 0; i < sizeof whole / sizeof *whole; i++) {
		size_t k = strlen(whole[i]);

		if (strlen(h) == k + 2 && strncmp(h + 1, whole[i], k) == 0)
			return true;
	}
	for (size_t i = 0; i < sizeof within / sizeof *within; i++) {
		size_t k = strlen(within[i]);

		for (const char *p = strstr(h, within[i]); p;
		     p = strstr(p + 1, within[i]))
			if (p[-1] == ' ' && p[k] == ' ')
				return true;
	}
	return false;
}

/* What the signs of a label are. */
struct look {
	size_t letters, digits, high, separators, blanks, other;
	size_t longest; /* run of digits */
	bool comma;
};

static void count_signs(const char *s, size_t n, struct look *l)
{
	size_t run = 0;

	*l = (struct look){ 0 };
	for (size_t i = 0; i < n; i++) {
		unsigned char c = (unsigned char)s[i];

		run = pd_is_digit(s[i]) ? run + 1 : 0;
		l->longest = run > l->longest ? run : l->longest;
		if (pd_is_digit(s[i]))
			l->digits++;
		else if (pd_is_letter(s[i]))
			l->letters++;
		else if (c >= 0x80)
			l->high += (c & 0xc0) != 0x80;
		else if (c == ' ' || c == '\t')
			l->blanks++;
		else if (strchr("-./()+", c))
			l->separators++;
		else if (c == ',')
			l->comma = true;
		else if (c != '\'')
			l->other++;
	}
}

static bool is_email(const char *s, size_t n)
{
	const char *at = memchr(s, '@', n);

	return at && at > s && at + 1 < s + n &&
	       memchr(at, '.', (size_t)(s + n - at)) != NULL;
}

/* A capital and at least two more letters, the first two of them small. */
static bool capitalised(const char *s, size_t n)
{
	bool first = (s[0] >= 'A' && s[0] <= 'Z') ||
	             (unsigned char)s[0] == 0xc3;

	if (n < 3 || !first)
		return false;
	for (size_t i = 1; i < n; i++)
		if (s[i] >= 'A' && s[i] <= 'Z' && i < 3)
			return false;
	return true;
}

/* Letters only, two words or more of two letters or more each. */
static bool several_words(const char *s, size_t n)
{
	size_t words = 0, length = 0, longest = 0;

	for (size_t i = 0; i <= n; i++) {
		bool in = i < n && (pd_is_letter(s[i]) ||
		                    (unsigned char)s[i] >= 0x80);

		if (in) {
			length++;
		} else if (length) {
			words += length >= 2;
			longest = length > longest ? length : longest;
			length = 0;
		}
	}
	return words >= 2 && longest >= 3;
}

static pd_rule name_look(const char *s, size_t n, const struct look *l)
{
	size_t letters = l->letters + l->high;

	if (l->digits || l->other || l->separators > l->blanks + 1)
		return PD_RULE_NONE;
	if (letters >= 5 && (l->comma || l->blanks) && several_words(s, n))
		return PD_RULE_ID_NAME;
	if (l->comma || l->blanks || l->separators)
		return PD_RULE_NONE;
	if (letters >= 3 && capitalised(s, n))
		return PD_RULE_ID_NAME;
	return letters >= 5 ? PD_RULE_ID_WORD : PD_RULE_NONE;
}

/* 1962-03-04, 04.03.1962, 3/4/1962 */
static bool is_date(const char *s, size_t n)
{
	static const pd_date_form forms[] = {
		{ "ymd", '-' }, { "ymd", '/' }, { "ymd", '.' }, { "dmy", '.' },
		{ "dmy", '/' }, { "dmy", '-' }, { "mdy", '/' }, { "mdy", '-' },
		{ "dby", '-' }, { "dby", ' ' },
	};
	int32_t days;

	for (size_t i = 0; i < sizeof forms / sizeof *forms; i++)
		if (pd_scan_date(s, n, &forms[i], &days))
			return true;
	return false;
}

/* ddd-dd-dddd: the United States' social security number. */
static bool is_social(const char *s, size_t n)
{
	if (n != 11 || s[3] != '-' || s[6] != '-')
		return false;
	for (size_t i = 0; i < n; i++)
		if (i != 3 && i != 6 && !pd_is_digit(s[i]))
			return false;
	return true;
}

static pd_rule number_look(pd_field f, const char *s, size_t n,
                           const struct look *l)
{
	bool only = l->letters + l->high + l->other == 0 && !l->comma;

	if (is_social(s, n))
		return PD_RULE_ID_DIGITS;
	if (n >= 8 && is_date(s, n))
		return PD_RULE_ID_DATE;
	if (f == PD_F_SAMPLE)
		return PD_RULE_NONE;
	if (only && l->digits >= 9 && l->digits <= 15 &&
	    (s[0] == '+' || (s[0] == '0' && l->blanks) || s[0] == '('))
		return PD_RULE_ID_PHONE;
	if (f == PD_F_PATIENT &&
	    (l->longest >= (only ? 7u : 9u) || (only && l->digits >= 9)))
		return PD_RULE_ID_DIGITS;
	if (l->longest >= 9 && only)
		return PD_RULE_ID_DIGITS;
	return PD_RULE_NONE;
}

pd_rule pd_private_look(pd_field f, const char *s, size_t n)
{
	struct look l;
	pd_rule rule;

	if (is_email(s, n))
		return PD_RULE_ID_EMAIL;
	if (f != PD_F_PATIENT && f != PD_F_CASE && f != PD_F_SAMPLE &&
	    f != PD_F_OPERATOR)
		return PD_RULE_NONE;
	count_signs(s, n, &l);
	rule = number_look(f, s, n, &l);
	if (rule != PD_RULE_NONE)
		return rule;
	if (f == PD_F_SAMPLE)
		return PD_RULE_NONE;
	rule = name_look(s, n, &l);
	if (f == PD_F_OPERATOR)
		return rule == PD_RULE_ID_NAME ? PD_RULE_OPERATOR_NAME
		                               : PD_RULE_NONE;
	return rule;
}

void pd_pseudonym(const unsigned char key[PD_KEY_BYTES], const char *s,
                  size_t n, char out[PD_PSEUDONYM])
{
	static const char sign[] = "0123456789abcdefghjkmnpqrstvwxyz";
	unsigned char hash[32];
	unsigned bits = 0, have = 0;
	size_t at = 0;

	crypto_generichash(hash, sizeof hash, (const unsigned char *)s, n, key,
	                   PD_KEY_BYTES);
	out[0] = 'P';
	for (int k = 1; k < PD_PSEUDONYM - 1; k++) {
		if (have < 5) {
			bits = (bits << 8) | hash[at++];
			have += 8;
		}
		have -= 5;
		out[k] = sign[(bits >> have) & 31u];
	}
	out[PD_PSEUDONYM - 1] = '\0';
}

static pd_status check_key_file(int fd, const char *path, pd_error *err)
{
	struct stat s;

	if (fstat(fd, &s) != 0)
		return pd_fail_at(err, PD_NO_INPUT, path, 0, 0, "%s",
		                  strerror(errno));
	if (!S_ISREG(s.st_mode))
		return pd_fail_at(err, PD_NO_PERMISSION, path, 0, 0,
		                  "the key must be a regular file");
	if (s.st_uid != geteuid())
		return pd_fail_at(err, PD_NO_PERMISSION, path, 0, 0,
		                  "the key file must be your own");
	if ((s.st_mode & 07777) != 0600)
		return pd_fail_at(err, PD_NO_PERMISSION, path, 0, 0,
		                  "the key file has mode %04o, expected 0600: "
		                  "nobody else may read it (chmod 600)",
		                  (unsigned)s.st_mode & 07777u);
	if (s.st_size != PD_KEY_BYTES)
		return pd_fail_at(err, PD_DATA, path, 0, 0,
		                  "a key has %d bytes, this file %lld",
		                  PD_KEY_BYTES, (long long)s.st_size);
	return PD_OK;
}

pd_status pd_key_read(const char *path, unsigned char key[PD_KEY_BYTES],
                      pd_error *err)
{
	int fd = open(path, O_RDONLY | O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK);
	pd_status st;

	memset(key, 0, PD_KEY_BYTES);
	if (fd < 0)
		return pd_fail_at(err, errno == ELOOP || errno == EACCES
		                           ? PD_NO_PERMISSION
		                           : PD_NO_INPUT,
		                  path, 0, 0, "key file: %s",
		                  errno == ELOOP ? "it is a link, expected a "
		                                   "regular file"
		                                 : strerror(errno));
	st = check_key_file(fd, path, err);
	if (st == PD_OK && read(fd, key, PD_KEY_BYTES) != PD_KEY_BYTES)
		st = pd_fail_at(err, PD_IO, path, 0, 0, "cannot read the key");
	close(fd);
	if (st == PD_OK && sodium_init() < 0)
		st = pd_fail(err, PD_INTERNAL, "no cryptography");
	if (st != PD_OK)
		pd_key_forget(key);
	return st;
}

pd_status pd_key_create(const char *path, pd_error *err)
{
	unsigned char key[PD_KEY_BYTES];
	pd_status st = PD_OK;

	if (sodium_init() < 0)
		return pd_fail(err, PD_INTERNAL, "no cryptography");
	int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);

	if (fd < 0)
		return pd_fail_at(err, PD_CANNOT_CREATE, path, 0, 0,
		                  "key file: %s", strerror(errno));
	randombytes_buf(key, sizeof key);
	if (fchmod(fd, 0600) != 0 ||
	    write(fd, key, sizeof key) != (ssize_t)sizeof key ||
	    fsync(fd) != 0)
		st = pd_fail_at(err, PD_IO, path, 0, 0, "cannot write the key");
	if (close(fd) != 0 && st == PD_OK)
		st = pd_fail_at(err, PD_IO, path, 0, 0, "cannot write the key");
	if (st != PD_OK)
		unlink(path);
	pd_key_forget(key);
	return st;
}

void pd_key_forget(unsigned char key[PD_KEY_BYTES])
{
	sodium_memzero(key, PD_KEY_BYTES);
}
