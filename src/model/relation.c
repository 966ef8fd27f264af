#include "model/relation.h"
#include "base/hot_loop.h"

static const struct relation_group *const groups[] = {
    &pack_relations,  &charge_relations, &mass_relations, &road_load_relations,
    &cycle_relations, &label_relations,  &trip_relations,
};

const struct relation *relation_find(enum quantity_id id, size_t k)
{
    for (size_t g = 0; g < sizeof groups / sizeof groups[0]; g++)
        for (size_t r = 0; r < groups[g]->count; r++)
            if (groups[g]->rows[r].result == id && k-- == 0)
                return &groups[g]->rows[r];
    return NULL;
}

HOT_LOOP void relate_copy(const struct relation_call *call)
{
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = call->in[0][i];
}

HOT_LOOP void relate_sum(const struct relation_call *call)
{
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = call->in[0][i] + call->in[1][i];
}

HOT_LOOP void relate_difference(const struct relation_call *call)
{
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = call->in[0][i] - call->in[1][i];
}

HOT_LOOP void relate_product(const struct relation_call *call)
{
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = call->in[0][i] * call->in[1][i];
}

HOT_LOOP void relate_product3(const struct relation_call *call)
{
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = call->in[0][i] * call->in[1][i] * call->in[2][i];
}

HOT_LOOP void relate_quotient(const struct relation_call *call)
{
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = call->in[0][i] / call->in[1][i];
}
