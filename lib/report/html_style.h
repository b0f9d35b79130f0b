/*
 * html_style.h - the style sheet of the HTML report, one string (inside the
 * report room only).
 */
#ifndef PERDRAW_REPORT_HTML_STYLE_H
#define PERDRAW_REPORT_HTML_STYLE_H

extern const char pd_html_style[];

#endif
