/* The forms of mail: RFC 5322 headers, RFC 2047 words, RFC 2045 quoted-printable. Lines end in LF:
 * a sendmail-compatible program wants them so. */
#ifndef ODDLOAF_NOTIFY_MIME_H
#define ODDLOAF_NOTIFY_MIME_H

#include "base/text.h"
#include <stdbool.h>

/* No control characters at all: what a header's value must be before it is written. */
bool mime_is_one_line(const char *value);
/* An address we are ready to hand to a mail program: ASCII local@domain, a dot-atom and a host name
 * (RFC 5321 4.1.2, lengths 4.5.3.1), without quotes, brackets or control characters, not starting
 * with '-' (it would be read as an option). */
bool mime_is_address(const char *address);
/* The part behind the @, within `address`; "localhost" if that is no address. */
const char *mime_domain(const char *address);
/* "Name: value\n", folded at blanks; a value that isn't plain ASCII or has a word as long as a line
 * becomes RFC 2047 encoded words (UTF-8, B), never split inside a character. Lines have at most 76
 * characters. False (nothing written) if the
 * value is not one line. */
bool mime_header(struct text_buffer *out, const char *name, const char *value);
/* Body text as quoted-printable, lines at most 76 characters, LF line ends. */
void mime_quoted_printable(struct text_buffer *out, const char *text);

#endif
