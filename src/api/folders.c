/* Folders that are written to: a new case, the results of a run. */
#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/file.h"
#include "base/text.h"
#include "results/results.h"

static const char *template_folder(void)
{
    const char *chosen = getenv("PACKSPAN_TEMPLATES");
    return chosen ? chosen : PACKSPAN_TEMPLATE_FOLDER;
}

/* True when the folder does not exist or holds nothing. */
static bool is_vacant(const char *folder)
{
    DIR *d = opendir(folder);
    struct stat found;
    if (!d)
        return stat(folder, &found) != 0;
    bool vacant = true;
    for (const struct dirent *e = readdir(d); e && vacant; e = readdir(d))
        vacant = strcmp(e->d_name, ".") == 0 || strcmp(e->d_name, "..") == 0;
    closedir(d);
    return vacant;
}

static packspan_status copy_table(const char *folder, const char *name)
{
    enum { TEMPLATE_MAX = 1 << 20 };
    char *from = text_format("%s/starter/%s", template_folder(), name);
    char *to = text_format("%s/%s", folder, name);
    char *bytes = NULL;
    size_t length = 0;
    packspan_status status = from && to ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK)
        status = file_read(from, TEMPLATE_MAX, &bytes, &length);
    struct file_draft draft;
    if (status == PACKSPAN_OK)
        status = file_begin(&draft, to);
    if (status == PACKSPAN_OK) {
        fwrite(bytes, 1, length, draft.stream);
        status = file_commit(&draft); /* checks the stream's error flag */
    }
    free(bytes);
    free(from);
    free(to);
    return status;
}

packspan_status packspan_case_write_new(const char *folder)
{
    static const char *const tables[] = {"vehicles.csv", "inputs.csv", "trips.csv",
                                         "claims.csv",   "study.csv",  "settings.csv"};
    if (!is_vacant(folder))
        return PACKSPAN_USAGE;
    packspan_status status = file_make_folder(folder);
    for (size_t i = 0; i < sizeof tables / sizeof tables[0] && status == PACKSPAN_OK; i++)
        status = copy_table(folder, tables[i]);
    return status;
}

packspan_status packspan_folder_prepare(const char *folder)
{
    if (results_would_spoil_case(folder))
        return PACKSPAN_USAGE;
    packspan_status status = file_make_folder(folder);
    if (status != PACKSPAN_OK)
        return status;
    char *path = text_format("%s/writable", folder);
    if (!path)
        return PACKSPAN_NO_MEMORY;
    struct file_draft draft;
    status = file_begin(&draft, path);
    if (status == PACKSPAN_OK)
        file_abandon(&draft);
    free(path);
    return status;
}
