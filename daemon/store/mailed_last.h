/* The settings by which mail that leaves once a week or a day is known to have left; of a plant in
 * a zone of its own after a "/" its name. Restoring takes them over (store/restore.h). */
#ifndef ODDLOAF_STORE_MAILED_LAST_H
#define ODDLOAF_STORE_MAILED_LAST_H

#define MAILED_LAST_DIGEST "digest/last" /* a week, 2026-W45 */
#define MAILED_LAST_DUE "due/last"       /* a day */

#endif
