/* Where the daemon looks for settings unless it is told: fixed by the build (its sysconfdir), so
 * that what is installed somewhere is looked for there; so are the rules (rules/rule_files.h). */
#ifndef ODDLOAF_SERVE_INSTALLED_H
#define ODDLOAF_SERVE_INSTALLED_H

#define INSTALLED_CONFIG ODDLOAF_CONFIG_DIR "/oddloafd.json"

/* The settings file if there is one; NULL: all defaults. */
const char *installed_config(void);

#endif
