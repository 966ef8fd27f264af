/* A locale with a decimal comma, compiled on the spot when none is installed. */
#ifndef PACKSPAN_TESTS_COMMA_LOCALE_H
#define PACKSPAN_TESTS_COMMA_LOCALE_H

#include <locale.h>

#include "unit/base/scratch.h"

static inline bool comma_locale_set(void)
{
    static const char *const names[] = {"de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8", "de_DE"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        if (setlocale(LC_ALL, names[i]) && strcmp(localeconv()->decimal_point, ",") == 0)
            return true;
    return false;
}

/* True when the process now has a decimal comma; comma_locale_leave() takes it back. */
static inline bool comma_locale_enter(void)
{
    if (comma_locale_set())
        return true;
    char *folder = scratch_create(), *command = NULL;
    if (!folder)
        return false;
    if (asprintf(&command, "localedef -f UTF-8 -i de_DE '%s/de_DE.UTF-8' >/dev/null 2>&1", folder) <
        0)
        command = NULL;
    bool entered =
        command && system(command) == 0 && setenv("LOCPATH", folder, 1) == 0 && comma_locale_set();
    unsetenv("LOCPATH");
    free(command);
    scratch_remove(folder);
    free(folder);
    return entered;
}

static inline void comma_locale_leave(void)
{
    setlocale(LC_ALL, "C");
}

#endif
