/*
 * reading_cases.h - bad and odd input, each with every finding it must give:
 * line:column:code in order, and the number of rows that are kept.
 * After H (46 bytes) and K (25) a next cell stands in column 48 and 27.
 */
#define SEMICOLON "[file]\ndelimiter = semicolon\ndecimal = comma\n"
#define LONG_H "case,sample,outcome,value,unit\n"

static const struct reading_case {
	const char *name, *map, *csv;
	size_t size;            /* of csv; 0: its string length              */
	const char *findings;
	size_t kept;
} reading_cases[] = {
	/* the file as bytes */
	{ "nothing", NULL, "", 0, "1:1:empty-file", 0 },
	{ "only line ends", NULL, "\n\r\n", 0, "1:1:empty-file", 0 },
	{ "header alone", NULL, H "\n", 0, "1:0:no-rows", 0 },
	{ "clean", NULL, H "\n" K "\n", 0, "", 1 },
	{ "no last line end", NULL, H "\n" K, 0, "", 1 },
	{ "mark at the start", NULL, "\xef\xbb\xbf" H "\n" K "\n", 0,
	  "1:1:bom", 1 },
	{ "UTF-16 by its mark", NULL, "\xff\xfe" "p\0a\0", 6, "1:1:utf16", 0 },
	{ "UTF-16 by its zeros", NULL, "p\0a\0t\0i\0e\0n\0t\0", 14,
	  "1:1:utf16", 0 },
	{ "a zero byte", NULL, H ",needle\n" K ",a\0b\n", sizeof(H ",needle\n" K
	  ",a\0b\n") - 1, "2:27:control-character 2:28:nul-byte", 0 },
	{ "Latin-1 undeclared", NULL, H ",needle\n" K ",r\xf6hre\n", 0,
	  "2:28:not-utf8", 1 },
	{ "Latin-1 declared", "[file]\nencoding = latin-1\n",
	  H ",needle\n" K ",r\xf6hre\n", 0, "", 1 },
	{ "CRLF", NULL, H "\r\n" K "\r\n", 0, "", 1 },
	{ "CR", NULL, H "\r" K "\r", 0, "", 1 },
	{ "line ends of two kinds", NULL, H "\n" K "\r\n" K "\n", 0,
	  "2:1:mixed-newlines", 2 },
	{ "blank lines", NULL, H "\n\n" K "\n  \n" K "\n", 0,
	  "2:1:blank-lines", 2 },
	{ "rows of delimiters", NULL, H "\n" K "\n,,,,,\n,,\n", 0,
	  "3:1:empty-rows", 1 },
	/* quotes and widths */
	{ "quoted cells", NULL, H ",needle\n\"P1\",C1,2024-03-05,\"left\",1,1,"
	  "\"a, \"\"b\"\"\"\n", 0, "", 1 },
	{ "quote not closed", NULL, H ",needle\n" K ",\"ab\n" K ",cd\n", 0,
	  "2:27:quote-not-closed", 1 },
	{ "quote inside", NULL, H ",needle\n" K ",5\"\n" K ",cd\n", 0,
	  "2:28:quote-inside", 1 },
	{ "text after quote", NULL, H ",needle\n" K ",\"a\" b\n", 0,
	  "2:31:text-after-quote", 0 },
	{ "line end in a label", NULL, H ",needle\n" K ",\"a\nb\"\n" K ",c\n",
	  0, "2:27:control-character", 1 },
	{ "place behind a line end", "[columns]\nnotes = ignore\n",
	  "notes," H ",volume_ml\n\"one\ntwo\"," K ",x5\n", 0,
	  "3:32:not-a-number", 0 },
	{ "place behind wide letters", "[columns]\nnotes = ignore\n",
	  "notes," H ",volume_ml\n\xc3\xa4\xe2\x82\xac," K ",x5\n", 0,
	  "2:30:not-a-number", 0 },
	{ "a cell short", NULL, H ",needle\n" K "\n" K ",a\n", 0,
	  "2:26:ragged-row", 1 },
	{ "a cell too many", NULL, H "\n" K ",9\n", 0, "2:27:ragged-row", 0 },
	{ "semicolons undeclared", NULL, "patient;case;side\nP1;C1;left\n", 0,
	  "1:1:delimiter-undeclared", 0 },
	{ "tabs undeclared", NULL, "patient\tcase\nP1\tC1\n", 0,
	  "1:1:delimiter-undeclared", 0 },
	{ "commas for declared semicolons", SEMICOLON, H "\n" K "\n", 0,
	  "1:1:delimiter-undeclared", 0 },
	{ "typographic quotes", NULL, H ",needle\n" K ",\xe2\x80\x9c" "a\xe2"
	  "\x80\x9d\n", 0, "2:27:smart-quote", 0 },
	{ "typographic quotes round a comma", NULL, H ",needle\n" K
	  ",\xe2\x80\x9c" "a, b\xe2\x80\x9d\n", 0, "2:1:smart-quote", 0 },
	{ "total row", NULL, H ",volume_ml\n" K ",5\nTotal,,,,,,5\n", 0,
	  "3:1:total-row", 1 },
	{ "mean row of another width", NULL, H ",volume_ml\n" K
	  ",5\n,,Mean:,5\n", 0, "3:1:total-row", 1 },
	{ "spreadsheet errors", NULL, H ",volume_ml,needle\n" K ",#REF!,a\n" K
	  ",5,#####\n" K ",#DIV/0!,b\n", 0,
	  "2:27:spreadsheet-error 3:29:spreadsheet-error "
	  "4:27:spreadsheet-error", 0 },
	{ "no-break space in a label", NULL, H ",needle\n" K ",a\xc2\xa0" "b\n",
	  0, "2:27:invisible-character", 0 },
	{ "mark in the middle", NULL, H "\n" K "\n\xef\xbb\xbf" K "\n", 0,
	  "3:1:invisible-character", 1 },
	/* the header */
	{ "unknown header", NULL, H ",volume\n" K ",5\n", 0,
	  "1:48:header-unknown", 1 },
	{ "header without a name", NULL, H ",\n" K ",5\n", 0,
	  "1:48:header-blank", 1 },
	{ "header twice", NULL, H ",Side\n" K ",left\n", 0,
	  "1:48:header-twice", 1 },
	{ "field twice", "[columns]\nmL = volume_ml\n", H ",volume_ml,mL\n" K
	  ",5,5\n", 0, "1:58:field-twice", 1 },
	{ "column and constant", "[constant]\nneedle = N\n", H ",needle\n" K
	  ",a\n", 0, "1:48:field-twice", 1 },
	{ "map names a column that is not there",
	  "[columns]\nVol = volume_ml\n", H "\n" K "\n", 0,
	  "1:0:map-column-missing", 1 },
	{ "keys missing", NULL, "patient,case,case_date,aliquot_no\n"
	  "P1,C1,2024-03-05,1\n", 0,
	  "1:0:column-missing 1:0:column-missing", 1 },
	{ "results without a tie", NULL, "case,tnc_e6_per_ml\nC1,30\n", 0,
	  "1:0:column-missing 1:0:column-missing 1:0:column-missing", 1 },
	{ "not the kind declared", "[file]\nkind = results\n",
	  H ",volume_ml\n" K ",5\n", 0, "1:0:file-kind", 1 },
	/* who it is about */
	{ "surname", NULL, H ",Surname\n" K ",Muster\n", 0,
	  "1:48:identifier-header", 1 },
	{ "birth date in German", NULL, H ",Geburtsdatum\n" K ",1.2.1950\n", 0,
	  "1:48:identifier-header", 1 },
	{ "prenom with an accent", NULL, H ",Pr\xc3\xa9nom\n" K ",x\n", 0,
	  "1:48:identifier-header", 1 },
	{ "surname ignored", "[columns]\nSurname = ignore\n",
	  H ",Surname\n" K ",Muster\n", 0, "", 1 },
	{ "record number mapped bare", "[columns]\nMRN = patient\n",
	  "MRN,case,case_date,side,site_no,aliquot_no\n" K "\n", 0,
	  "1:1:identifier-header", 1 },
	{ "record number made a pseudonym",
	  "[file]\npseudonym = patient\n[columns]\nMRN = patient\n",
	  "MRN,case,case_date,side,site_no,aliquot_no\n"
	  "0048215577,C1,2024-03-05,left,1,1\n", 0, "", 1 },
	{ "names as patients", NULL, H "\n\"Muster, Max\",C1,2024-03-05,left,"
	  "1,1\nErika Beispiel,C1,2024-03-05,left,1,2\nMuster,C1,2024-03-05,"
	  "left,1,3\n", 0, "2:1:identifier-name 3:1:identifier-name "
	  "4:1:identifier-name", 0 },
	{ "a word as patient", NULL, H "\nfalcon,C1,2024-03-05,left,1,1\n", 0,
	  "2:1:identifier-word", 1 },
	{ "record number as patient", NULL,
	  H "\n4821557,C1,2024-03-05,left,1,1\n", 0,
	  "2:1:identifier-digits", 0 },
	{ "social security form as case", NULL,
	  H "\nP1,123-45-6789,2024-03-05,left,1,1\n", 0,
	  "2:4:identifier-digits", 0 },
	{ "birth date as patient", NULL,
	  H "\n1962-03-04,C1,2024-03-05,left,1,1\n", 0,
	  "2:1:identifier-date", 0 },
	{ "birth date under birth year", NULL, H ",birth_year\n" K
	  ",04.03.1962\n", 0, "2:27:identifier-date", 0 },
	{ "e-mail as operator", NULL, H ",operator\n" K ",kim@example.org\n",
	  0, "2:27:identifier-email", 0 },
	{ "telephone as patient", NULL,
	  H "\n+49 30 1234567,C1,2024-03-05,left,1,1\n", 0,
	  "2:1:identifier-phone", 0 },
	{ "name as operator", NULL, H ",operator\n" K ",Dr. Beispiel\n", 0,
	  "2:27:operator-name", 1 },
	{ "label in powers of ten", NULL,
	  H "\nP1,1.2E+03,2024-03-05,left,1,1\n", 0, "2:4:id-scientific", 0 },
	{ "label turned date", NULL, H "\nP1,3-May,2024-03-05,left,1,1\n", 0,
	  "2:4:label-date", 1 },
	{ "lost zeros", NULL, H "\nP1,77,2024-03-05,left,1,1\n"
	  "P1,0078,2024-03-06,left,1,1\nP1,79,2024-03-07,left,1,1\n", 0,
	  "2:4:lost-zeros", 3 },
	/* cells */
	{ "blank key", NULL, H "\nP1,,2024-03-05,left,1,1\n", 0,
	  "2:4:key-blank", 0 },
	{ "blank side", NULL, H "\nP1,C1,2024-03-05,,1,1\n", 0,
	  "2:18:key-blank", 0 },
	{ "blank side of the breastbone", NULL,
	  H ",landmark\nP1,C1,2024-03-05,,1,1,sternum\n", 0, "", 1 },
	{ "text for a number", NULL, H ",volume_ml\n" K ",five\n", 0,
	  "2:27:not-a-number", 0 },
	{ "fraction for a count", NULL, "patient,case,case_date,side,site_no,"
	  "aliquot_no\nP1,C1,2024-03-05,left,1.5,1\n", 0,
	  "2:23:not-whole", 0 },
	{ "decimal comma undeclared", NULL, H ",volume_ml\n" K ",\"5,25\"\n",
	  0, "2:27:decimal-comma", 0 },
	{ "thousands", NULL, H ",cells_plated\n" K ",\"500,000\"\n" K
	  ",500 000\n", 0, "2:27:thousands-mark 3:27:thousands-mark", 0 },
	{ "point under a decimal comma", SEMICOLON,
	  "patient;case;case_date;side;site_no;aliquot_no;volume_ml\n"
	  "P1;C1;2024-03-05;left;1;1;5.2\n", 0, "2:27:decimal-point", 0 },
	{ "unit in the cell", NULL, H ",volume_ml,viability_pct\n" K
	  ",5 mL,95\n" K ",5,95%\n", 0,
	  "2:27:unit-in-cell 3:29:unit-in-cell", 0 },
	{ "number turned date", NULL, H ",volume_ml\n" K ",5-Feb\n" K
	  ",05.02.2024\n", 0,
	  "2:27:number-turned-date 3:27:number-turned-date", 0 },
	{ "date in another form", NULL, H "\nP1,C1,05.03.2024,left,1,1\n", 0,
	  "2:7:date-form", 0 },
	{ "no such day", NULL, H "\nP1,C1,2023-02-29,left,1,1\n", 0,
	  "2:7:date-form", 0 },
	{ "month 13 shows the wrong order", "[file]\ndates = day/month/year\n",
	  H "\nP1,C1,03/25/2024,left,1,1\n", 0, "2:7:date-form", 0 },
	{ "date turned number", NULL, H "\nP1,C1,45356,left,1,1\n", 0,
	  "2:7:date-serial", 0 },
	{ "date out of range", NULL, H "\nP1,C1,1924-03-05,left,1,1\n", 0,
	  "2:7:date-range", 0 },
	{ "unknown word", NULL, H ",landmark\n" K ",hip\n", 0,
	  "2:27:word-unknown", 0 },
	{ "unknown result", NULL, H ",tnc_e6_per_ml\n" K ",clotted\n", 0,
	  "2:27:result-unknown", 0 },
	{ "ND told once", NULL, H ",tnc_e6_per_ml\n" K ",ND\n" K ",nd\n", 0,
	  "2:27:nd-read", 2 },
	{ "bad pool", NULL, H ",pool,tnc_e6_per_ml\n" K ",L1+X2,30\n" K
	  ",L1.+L2,30\n" K ",L1.1 + R2.1,30\n" K ",case,30\n", 0,
	  "2:27:pool-syntax 3:27:pool-syntax", 2 },
	{ "long label", NULL, H ",needle\n" K ",nnnnnnnnnnnnnnnnnnnnnnnnnnnnnn"
	  "nnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnn"
	  "nnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnn"
	  "nnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnn"
	  "\n", 0, "2:27:text-too-long", 0 },
	/* one outcome a row */
	{ "long rows", NULL, LONG_H "C1,S1,tnc,35200,cells/uL\n"
	  "C1,S1,cfu_f,12,per 10^5\nC1,S1,viability,,\n", 0, "", 3 },
	{ "long rows without a number", "[values value]\nk.A. = not ordered\n",
	  LONG_H "C1,S1,tnc,not ordered,\nC1,S1,cfu_f,TNTC,\n"
	  "C1,S1,mnc,k.A.,\nC1,S1,mnc,<2,\n", 0, "5:14:unit-blank", 3 },
	{ "long rows with faults", NULL, LONG_H "C1,S1,tnc,35,10^3/dish\n"
	  "C1,S1,tnc,35,\nC1,S1,,35,K/uL\nC1,S1,cd34,2,%\n"
	  "C1,S1,mnc,20,% of TNC\nC1,S1,glucose,5,K/uL\n"
	  "C1,S1,tnc,10,10e6/mL\n", 0,
	  "2:14:unit-unknown 3:14:unit-blank 4:7:key-blank "
	  "5:14:unit-unknown 6:11:percent-without-tnc 7:7:word-unknown "
	  "8:14:unit-unknown", 0 },
	{ "long value out of range", NULL, LONG_H
	  "C1,S1,viability,104,%\nC1,S1,tnc,0.4,K/uL\n", 0,
	  "2:17:impossible-value 3:11:tnc-unit-slip", 1 },
	{ "long rows without units", NULL, "case,sample,outcome,value\n"
	  "C1,S1,tnc,35\n", 0, "1:0:column-missing", 1 },
	/* values that cannot be */
	{ "age below 0", NULL, H ",age_y\n" K ",-3\n", 0,
	  "2:27:impossible-value", 0 },
	{ "viability above 100", NULL, H ",viability_pct\n" K ",101\n", 0,
	  "2:27:impossible-value", 0 },
	{ "volume 0 and below", NULL, H ",volume_ml\n" K ",0\n" K ",-2\n", 0,
	  "2:27:impossible-value 3:27:impossible-value", 0 },
	{ "limits below 0", NULL, H ",tnc_e6_per_ml\n" K ",<-1\n", 0,
	  "2:27:impossible-value", 0 },
	{ "far from usual", NULL, H ",age_y,needle_gauge\n" K ",110,30G\n", 0,
	  "2:27:implausible-value 2:31:implausible-value", 1 },
	{ "a slip of 10^3", NULL, H ",tnc_e6_per_ml\n" K ",35200\n" K
	  ",352\n" K ",0.035\n" K ",<0.5\n", 0,
	  "2:27:impossible-value 3:27:tnc-unit-slip 4:27:tnc-unit-slip", 3 },
	{ "fraction for a percentage", NULL, H ",viability_pct\n" K ",0.97\n",
	  0, "2:27:fraction-as-percent", 1 },
	{ "syringe of 7 mL", NULL, H ",syringe_ml\n" K ",7\n", 0,
	  "2:27:syringe-odd", 1 },
	{ "mean of dishes", NULL, H ",cells_plated,dish_1\n" K
	  ",500000,14.5\n", 0, "2:34:dish-not-whole", 0 },
	/* values against each other */
	{ "volume and syringe", NULL, H ",volume_ml,syringe_ml\n" K
	  ",13,10\n" K ",12,10\n" K ",10,10\n", 0,
	  "2:27:volume-above-syringe 3:27:volume-above-nominal", 2 },
	{ "marrow and anticoagulant", NULL,
	  H ",volume_ml,syringe_ml,anticoagulant_ml\n" K ",10,10,3\n" K
	  ",9,10,1\n", 0, "2:33:fill-above-syringe", 2 },
	{ "MNC above TNC", NULL, H ",tnc_e6_per_ml,mnc_e6_per_ml\n" K
	  ",30,31\n" K ",30,>31\n" K ",<30,29\n" K ",>30,31\n", 0,
	  "2:30:mnc-above-tnc 3:30:mnc-above-tnc", 2 },
	{ "CD34 and CD271 above TNC", NULL,
	  H ",tnc_e6_per_ml,cd34_e3_per_ml,cd271_per_ml\n" K
	  ",2,3000,1000\n" K ",2,30,3000000\n", 0,
	  "2:29:cd34-above-tnc 3:32:cd271-above-tnc "
	  "3:32:implausible-value", 0 },
	{ "no richer than blood", NULL,
	  H ",tnc_e6_per_ml,blood_wbc_e9_per_l\n" K ",7,6.5\n" K ",30,6.5\n",
	  0, "2:27:tnc-equals-blood", 2 },
	{ "redder than blood", NULL, H ",rbc_e12_per_l,blood_rbc_e12_per_l,"
	  "hct_pct,blood_hct_pct\n" K ",5.5,4.6,46,40\n", 0,
	  "2:27:rbc-above-blood 2:35:hct-above-blood", 1 },
	{ "born after the case", NULL, H ",birth_year\n" K ",2030\n", 0,
	  "2:27:birth-after-case", 0 },
	{ "age and birth year", NULL, H ",age_y,birth_year\n" K ",61,1962\n" K
	  ",62.9,1962\n" K ",60.9,1962\n" K ",63,1962\n", 0,
	  "4:27:age-birth-year 5:27:age-birth-year", 4 },
	{ "dishes without plated", NULL, H ",cells_plated,dish_1\n" K
	  ",,14\n" K ",,failed\n" K ",,\n" K ",500000,\n", 0,
	  "2:27:dishes-without-plated 5:27:plated-without-dishes", 4 },
	{ "dishes and no column for plated", NULL, H ",dish_1\n" K ",14\n", 0,
	  "1:0:dishes-without-plated", 1 },
	/* domain example: 14, 22, 18 is p 0.41; 5, 31, 18 is p 8e-5 */
	{ "dishes apart", NULL, H ",cells_plated,dish_1,dish_2,dish_3\n" K
	  ",500000,14,22,18\n" K ",500000,5,31,18\n" K ",500000,5,TNTC,18\n",
	  0, "3:34:dish-dispersion", 3 },
	{ "prevalence and concentration", NULL,
	  H ",tnc_e6_per_ml,cfu_f_per_ml,cfu_f_per_e6\n" K ",30,1080,36\n" K
	  ",30,1200,36\n", 0, "3:30:prevalence-disagrees", 2 },
	{ "dishes and the reported rate", NULL,
	  H ",cells_plated,dish_1,dish_2,dish_3,cfu_f_per_e6\n" K
	  ",500000,14,22,18,36\n" K ",500000,14,22,18,72\n", 0,
	  "3:43:dishes-disagree", 2 },
	{ "share of a TNC that is not there",
	  "[columns]\nMNC = mnc_e6_per_ml in % of TNC\n",
	  H ",tnc_e6_per_ml,MNC\n" K ",30,40\n" K ",,40\n" K ",30,101\n", 0,
	  "3:28:percent-without-tnc 4:30:mnc-above-tnc", 1 },
	/* what a map can do */
	{ "one column for three fields",
	  "[columns]\nN = needle, needle_gauge, needle_geometry\n"
	  "[values needle_gauge]\nB17 = 11\n[values needle_geometry]\n"
	  "B17 = open-end\nB9 = closed-tip side-hole\n",
	  H ",N\n" K ",B17\n" K ",B9\n", 0, "3:27:not-a-number", 1 },
	{ "a constant against a column", "[constant]\nsyringe_ml = 10\n",
	  H ",volume_ml\n" K ",14\n", 0, "2:27:volume-above-syringe", 0 },
	{ "a constant that cannot be", "[constant]\nneedle_gauge = 77\n",
	  H "\n" K "\n", 0, "2:1:impossible-value", 0 },
	{ "month names", "[file]\ndates = day-mon-year\n",
	  H "\nP1,C1,05-MAR-2024,left,1,1\n", 0, "", 1 },
	{ "headers in another case", NULL, "Patient,CASE,Case_Date,side,"
	  "site_no,aliquot_no\n" K "\n", 0, "", 1 },
	{ "numeric missing code", "[file]\nmissing = -9\n", H ",volume_ml,"
	  "tnc_e6_per_ml\n" K ",-9,-9\n" K ",-9.0,1\n", 0,
	  "3:27:impossible-value", 1 },
	{ "a missing code in a key", "[file]\nmissing = NA\n",
	  H "\nNA,C1,2024-03-05,left,1,1\n", 0, "2:1:key-blank", 0 },
	{ "zeros that mean failed", "[values dish_1]\n0 = failed\n",
	  H ",cells_plated,dish_1\n" K ",,0\n", 0, "", 1 },
	{ "Windows signs", "[file]\nencoding = windows-1252\n",
	  H ",needle\n" K ",\x93" "a\x94\n" K ",\x80\n", 0,
	  "2:27:smart-quote", 1 },
	{ "quoted decimal commas", "[file]\ndecimal = comma\n",
	  H ",volume_ml\n" K ",\"5,25\"\n" K ",5.25\n", 0,
	  "3:27:decimal-point", 1 },
	{ "a patient called N", NULL, H "\nN,C1,2024-03-05,left,1,1\n", 0, "",
	  1 },
	{ "text running backwards", NULL, H ",needle\n" K ",a\xe2\x80\xae"
	  "b\n", 0, "2:27:invisible-character", 0 },
	{ "a byte that Windows does not have",
	  "[file]\nencoding = windows-1252\n", H ",needle\n" K ",a\x81\n", 0,
	  "0:0:not-utf8", 1 },
	{ "dishes and the reported concentration", NULL,
	  H ",cells_plated,dish_1,dish_2,tnc_e6_per_ml,cfu_f_per_ml\n" K
	  ",500000,14,22,30,1080\n" K ",500000,14,22,30,36\n" K
	  ",500000,14,>150,30,36\n", 0, "3:43:dishes-disagree", 3 },
};
