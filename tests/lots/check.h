/* What every cmocka program includes first, in the order cmocka asks for. */
#ifndef ODDLOAF_TESTS_LOTS_CHECK_H
#define ODDLOAF_TESTS_LOTS_CHECK_H

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
/* after the four above */
#include <cmocka.h>

#define COUNT_OF(array) (sizeof(array) / sizeof *(array))

#endif
