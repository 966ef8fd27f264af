#include "registry/units.h"

#include <ctype.h>
#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <udunits2.h>

#include "base/text.h"

#define LONGEST_UNIT 100

/* A conversion that was asked for before. */
struct known_factor {
    const char *unit, *target; /* texts that last */
    struct unit_factor factor;
};

struct unit_system {
    ut_system *units;
    locale_t plain; /* UDUNITS-2 reads numbers by the thread's locale */
    struct known_factor *known;
    size_t known_count;
};

/* What the trade writes and UDUNITS-2 does not know or takes for something else. */
static const struct {
    const char *text, *meaning;
    bool is_symbol; /* a symbol takes prefixes such as k, a name such as kilo */
} trade_units[] = {
    {"Wh", "W h", true},
    {"Ah", "A h", true},
    {"mph", "mi/h", true},          /* not a milliphot */
    {"kph", "km/h", true},          /* not a kilophot */
    {"nmi", "nautical_mile", true}, /* not a nanomile */
    {"lbs", "lb", true},
    {"watt_hour", "W h", false},
    {"watt_hours", "W h", false},
    {"ampere_hour", "A h", false},
    {"ampere_hours", "A h", false},
    {"mile_per_hour", "mi/h", false},
    {"miles_per_hour", "mi/h", false},
};

static bool map_unit(ut_system *units, const char *text, const char *meaning, bool is_symbol)
{
    ut_unit *unit = ut_parse(units, meaning, UT_ASCII);
    if (!unit)
        return false;
    ut_status status = is_symbol ? ut_map_symbol_to_unit(text, UT_ASCII, unit)
                                 : ut_map_name_to_unit(text, UT_ASCII, unit);
    ut_free(unit);
    return status == UT_SUCCESS;
}

static bool map_trade_units(ut_system *units)
{
    for (size_t i = 0; i < sizeof trade_units / sizeof trade_units[0]; i++)
        if (!map_unit(units, trade_units[i].text, trade_units[i].meaning, trade_units[i].is_symbol))
            return false;
    return true;
}

packspan_status unit_system_open(struct unit_system **out)
{
    struct unit_system *s = calloc(1, sizeof *s);
    if (!s)
        return PACKSPAN_NO_MEMORY;
    s->plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    if (!s->plain) {
        free(s);
        return PACKSPAN_NO_MEMORY;
    }
    ut_set_error_message_handler(ut_ignore);
    locale_t callers = uselocale(s->plain);
    s->units = ut_read_xml(NULL);
    packspan_status status = s->units                   ? PACKSPAN_OK
                             : ut_get_status() == UT_OS ? PACKSPAN_NO_MEMORY
                                                        : PACKSPAN_MISSING;
    if (s->units && !map_trade_units(s->units))
        status = PACKSPAN_NO_MEMORY;
    uselocale(callers);
    if (status != PACKSPAN_OK) {
        unit_system_free(s);
        return status;
    }
    *out = s;
    return PACKSPAN_OK;
}

void unit_system_free(struct unit_system *s)
{
    if (!s)
        return;
    ut_free_system(s->units);
    freelocale(s->plain);
    free(s->known);
    free(s);
}

/* UDUNITS-2 stops silently at bytes that are not UTF-8 and at a ')' too many. */
static bool is_readable(const char *text, size_t length)
{
    size_t open = 0;
    for (size_t at = 0, size; at < length; at += size) {
        uint32_t code;
        size = text_character(text + at, length - at, &code);
        if (size == 0 || code < 0x20 || code == 0x7f || (code == ')' && open == 0))
            return false;
        open += code == '(';
        open -= code == ')';
    }
    return true;
}

static size_t digits_length(const char *text)
{
    return strspn(text, "0123456789");
}

/* Length of an unsigned decimal number at the start of `text`. */
static size_t number_length(const char *text)
{
    size_t length = strspn(text, "0123456789.");
    if (length && (text[length] == 'e' || text[length] == 'E')) {
        size_t sign = text[length + 1] == '+' || text[length + 1] == '-';
        size_t exponent = digits_length(text + length + 1 + sign);
        if (exponent)
            length += 1 + sign + exponent;
    }
    return length;
}

/* Length of a unit with its exponent, "km", "m^-2" or "m²", at the start of `text`. */
static size_t word_length(const char *text)
{
    size_t length = 0;
    for (;;) {
        length += strcspn(text + length, " \t*./()-+\xc2");
        const char *stop = text + length;
        bool exponent = (*stop == '-' || *stop == '+') && isdigit((unsigned char)stop[1]);
        bool letter = *stop == '\xc2' && strncmp(stop, "·", strlen("·")) != 0;
        if (!exponent && !letter)
            return length;
        length++;
    }
}

/* Writes `text` with "/100km" and "/100 km" as "/(100 km)"; UDUNITS-2 divides by 100 alone and
 * multiplies by km. `out` needs room for three more bytes for every '/'. */
static void bind_denominators(const char *text, char *out)
{
    while (*text) {
        *out++ = *text;
        if (*text++ != '/')
            continue;
        const char *number = text + strspn(text, " \t");
        size_t digits = number_length(number);
        const char *word = number + digits + strspn(number + digits, " \t");
        if (!digits || !isalpha((unsigned char)*word))
            continue;
        *out++ = '(';
        memcpy(out, number, digits);
        out += digits;
        *out++ = ' ';
        size_t letters = word_length(word);
        memcpy(out, word, letters);
        out += letters;
        *out++ = ')';
        text = word + letters;
    }
    *out = '\0';
}

/* ut_parse() takes no surrounding blanks and no empty text. */
static ut_unit *parse_unit(const struct unit_system *s, const char *text)
{
    char trimmed[LONGEST_UNIT + 1], bound[4 * LONGEST_UNIT + 1];
    text += strspn(text, " \t");
    size_t length = strlen(text);
    while (length && (text[length - 1] == ' ' || text[length - 1] == '\t'))
        length--;
    if (length > LONGEST_UNIT || !is_readable(text, length)) {
        ut_set_status(UT_SYNTAX);
        return NULL;
    }
    memcpy(trimmed, text, length);
    trimmed[length] = '\0';
    bind_denominators(trimmed, bound);
    return ut_parse(s->units, length ? bound : "1", UT_UTF8);
}

static enum unit_verdict why_not(ut_status status)
{
    return status == UT_OS ? UNIT_NO_MEMORY : UNIT_UNKNOWN;
}

/* Reads scale and offset off the converter. False when it is not a straight line: UDUNITS-2 also
 * converts reciprocals and logarithms. */
static bool read_factor(const cv_converter *converter, struct unit_factor *factor)
{
    static const double probes[] = {1e-3, 1.0, 3.0, 1e4};
    const double far = 0x1p30; /* a power of two keeps every digit of the scale */
    double offset = cv_convert_double(converter, 0.0);
    double scale = (cv_convert_double(converter, far) - offset) / far;
    if (!isfinite(offset) || !isfinite(scale))
        return false;
    for (size_t i = 0; i < sizeof probes / sizeof probes[0]; i++) {
        double line = scale * probes[i] + offset;
        double allowed = 1e-12 * (fabs(scale * probes[i]) + fabs(offset));
        if (!(fabs(cv_convert_double(converter, probes[i]) - line) <= allowed))
            return false;
    }
    *factor = (struct unit_factor){scale, offset};
    return true;
}

static enum unit_verdict convert_parsed(ut_unit *from, ut_unit *to, struct unit_factor *factor)
{
    if (!ut_are_convertible(from, to))
        return UNIT_OTHER_KIND;
    cv_converter *converter = ut_get_converter(from, to);
    if (!converter)
        return ut_get_status() == UT_OS ? UNIT_NO_MEMORY : UNIT_OTHER_KIND;
    struct unit_factor found;
    bool straight = read_factor(converter, &found);
    cv_free(converter);
    if (!straight)
        return UNIT_OTHER_KIND;
    if (found.scale <= 0.0)
        return UNIT_UNKNOWN; /* "-1 kg" is no unit */
    *factor = found;
    return UNIT_FITS;
}

static enum unit_verdict convert(const struct unit_system *s, const char *unit, const char *target,
                                 struct unit_factor *factor)
{
    ut_unit *from = parse_unit(s, unit);
    if (!from)
        return why_not(ut_get_status());
    ut_unit *to = parse_unit(s, target);
    enum unit_verdict verdict = to ? convert_parsed(from, to, factor) : why_not(ut_get_status());
    ut_free(to);
    ut_free(from);
    return verdict;
}

static const struct known_factor *find_known(const struct unit_system *s, const char *unit,
                                             const char *target)
{
    for (size_t i = 0; i < s->known_count; i++)
        if (strcmp(s->known[i].unit, unit) == 0 && strcmp(s->known[i].target, target) == 0)
            return &s->known[i];
    return NULL;
}

enum unit_verdict unit_remember(struct unit_system *s, const char *unit, const char *target)
{
    struct unit_factor factor;
    if (find_known(s, unit, target))
        return UNIT_FITS;
    enum unit_verdict verdict = unit_convert(s, unit, target, &factor);
    if (verdict != UNIT_FITS)
        return verdict;
    struct known_factor *longer = reallocarray(s->known, s->known_count + 1, sizeof *longer);
    if (!longer)
        return UNIT_NO_MEMORY;
    s->known = longer;
    longer[s->known_count++] = (struct known_factor){unit, target, factor};
    return UNIT_FITS;
}

enum unit_verdict unit_convert(const struct unit_system *s, const char *unit, const char *target,
                               struct unit_factor *factor)
{
    const struct known_factor *known = find_known(s, unit, target);
    if (known) {
        *factor = known->factor;
        return UNIT_FITS;
    }
    locale_t callers = uselocale(s->plain);
    enum unit_verdict verdict = convert(s, unit, target, factor);
    uselocale(callers);
    return verdict;
}

bool unit_of_tables(const struct unit_system *s, enum quantity_id quantity,
                    struct unit_factor *to_si)
{
    const struct measure *measure = quantities[quantity].measure;
    return unit_convert(s, measure->table, measure->si, to_si) == UNIT_FITS;
}
