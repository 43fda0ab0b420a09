/* Where the daemon looks for settings and rules unless it is told: fixed by the build (its prefix
 * and sysconfdir), so that what `cmake --install` puts somewhere is looked for there. */
#ifndef ODDLOAF_SERVE_INSTALLED_H
#define ODDLOAF_SERVE_INSTALLED_H

#define INSTALLED_CONFIG ODDLOAF_CONFIG_DIR "/oddloafd.json"
#define INSTALLED_OWN_RULES ODDLOAF_CONFIG_DIR "/rules"
#define INSTALLED_RULES ODDLOAF_RULES_DIR

/* The settings file if there is one; NULL: all defaults. */
const char *installed_config(void);
/* The plant's own rules if it has any, else those that came with the daemon. */
const char *installed_rules(void);

#endif
