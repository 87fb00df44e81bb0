/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What to mind when a vessel is thrown away, told from its last look. */
#include <string.h>

#include "voice/journal.h"
#include "voice/verdict.h"
#include "voice/whole_json.h"

/* The probability that a look's posterior gives a finding. */
static double finding_mass(const json_t *posterior, const char *id)
{
    const json_t *findings = json_object_get(posterior, "findings");
    size_t index;
    json_t *entry;

    if (json_is_object(findings))
        return json_number_value(json_object_get(findings, id));
    json_array_foreach(findings, index, entry)
    {
        const char *named = json_string_value(json_object_get(entry, "id"));
        if (named != NULL && strcmp(named, id) == 0)
            return json_number_value(json_object_get(entry, "p"));
    }
    return 0.0;
}

static double caution_mass(const struct rules *rules, const struct caution *caution,
                           const json_t *posterior)
{
    double mass = 0.0;
    for (size_t f = 0; f < rules->finding_count; f++) {
        const struct finding *finding = &rules->findings[f];
        bool meant =
            (caution->hazards >> finding->hazard & 1) || (caution->statuses >> finding->status & 1);
        for (size_t i = 0; i < caution->finding_count; i++)
            meant = meant || caution->findings[i] == f;
        mass += meant ? finding_mass(posterior, finding->id) : 0.0;
    }
    return mass;
}

/*
 * Where nothing is known of what is inside, the cautions about contaminated
 * vessels hold as if it were: nobody throws away what is sound.
 */
static bool applies(const struct rules *rules, const struct caution *caution,
                    const json_t *posterior)
{
    if (caution->always) /* it is about verdicts, and there is none here */
        return false;
    if (caution->actions >> ACTION_DISCARD & 1)
        return true;
    if (posterior == NULL)
        return caution->rank < CAUTION_FIRST_RANK && caution->statuses != 0;
    double mass = caution_mass(rules, caution, posterior);
    return caution->rank < CAUTION_FIRST_RANK && mass > 0.0 && mass >= caution->at_least;
}

static json_t *posterior_of(const struct look *look)
{
    return look != NULL && look->posterior[0] != '\0' ? json_loads(look->posterior, 0, NULL) : NULL;
}

void voice_handling(struct screen *screen, const struct rules *rules, const struct look *look)
{
    json_t *posterior = posterior_of(look);
    for (size_t i = 0; i < rules->caution_count; i++)
        if (applies(rules, &rules->cautions[i], posterior))
            screen_item(screen, 0, "!", ROLE_WARN, rules->cautions[i].text);
    json_decref(posterior);
}

json_t *voice_handling_json(const struct rules *rules, const struct look *look)
{
    json_t *posterior = posterior_of(look), *texts = json_array();
    for (size_t i = 0; i < rules->caution_count; i++)
        if (applies(rules, &rules->cautions[i], posterior))
            texts = voice_json_append(texts, json_string(rules->cautions[i].text));
    json_decref(posterior);
    return texts;
}
