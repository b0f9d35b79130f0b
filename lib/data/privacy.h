/*
 * privacy.h - keeping persons out of the store: what a header or a cell
 * gives away, pseudonyms by keyed hash, and the key's file.
 * A pseudonym is P and 20 signs of 0-9 a-z without i l o u: the first 100
 * bits of BLAKE2b-256 of the trimmed bytes under the 32-byte key (libsodium
 * crypto_generichash). Same key and text, same pseudonym; without the key it
 * cannot be recomputed from a guess. Case is kept.
 */
#ifndef PERDRAW_DATA_PRIVACY_H
#define PERDRAW_DATA_PRIVACY_H

#include "base/status.h"
#include "data/rules.h"
#include <stdbool.h>

enum { PD_KEY_BYTES = 32, PD_PSEUDONYM = 22 /* with the NUL */ };

/* Does a header name a person's identifier (name, birth date, record or
 * insurance number, telephone, e-mail, address) in one of seven languages? */
bool pd_private_header(const char *header, size_t n);
/*
 * What a label looks like: PD_RULE_NONE, ID_NAME, ID_WORD, ID_DIGITS, ID_DATE,
 * ID_EMAIL, ID_PHONE. `f` says how strictly: patient most, sample labels may
 * be long numbers; other text is only searched for e-mail addresses.
 */
pd_rule pd_private_look(pd_field f, const char *s, size_t n);

void pd_pseudonym(const unsigned char key[PD_KEY_BYTES], const char *s,
                  size_t n, char out[PD_PSEUDONYM]);

/*
 * The key file: exactly 32 bytes, a regular file (no link), owned by the
 * caller, mode 0600. PD_NO_PERMISSION where that is not so, with what to do.
 * Overwrite key with pd_key_forget after use.
 */
pd_status pd_key_read(const char *path, unsigned char key[PD_KEY_BYTES],
                      pd_error *err);
/* A new random key in a new file; an existing file is never replaced. */
pd_status pd_key_create(const char *path, pd_error *err);
void pd_key_forget(unsigned char key[PD_KEY_BYTES]);

#endif
