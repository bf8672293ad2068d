#include "layers.h"

int layers_at(const struct layers *layers, int solids, float volume_mL)
{
    int at = 1;
    if (solids == 1)
        return 0;
    for (int k = 0; k < layers->count; k++)
        at += volume_mL >= layers->corners_mL[k];
    return at;
}

bool layers_unassigned(struct layers *layers, int solids, float newest_mL)
{
    if (solids == 1 || newest_mL <= layers->newest_mL)
        return false;
    layers->newest_mL = newest_mL;
    return true;
}

float layers_open_mL(const struct layers *layers)
{
    return layers->count > 1 ? layers->corners_mL[layers->count - 2] : 0.0f;
}

/* One parting more, if the law has so many solids: the corners as they are but `from` on, which begins at a volume. */
static int add(const struct layers *layers, int solids, int from, float corner_mL, struct layers *partings, int count)
{
    if (from + 1 >= solids || from >= MOST_CORNERS)
        return count;
    partings[count] = *layers;
    partings[count].corners_mL[from] = corner_mL;
    partings[count].count = (unsigned char)(from + 1);
    return count + 1;
}

int layers_with_newest(const struct layers *layers, int solids, struct layers *partings)
{
    partings[0] = *layers;
    return add(layers, solids, layers->count, layers->newest_mL, partings, 1);
}

int layers_moved(const struct layers *layers, int solids, const float *newest_mL, int count, struct layers *partings)
{
    float behind_mL = layers->count ? layers->corners_mL[layers->count - 1] : 0.0f;
    int found = 1;

    partings[0] = *layers;
    for (int k = 0; k < count && layers->count; k++)
        found = add(layers, solids, layers->count - 1, newest_mL[k], partings, found);
    for (int k = 0; k < count; k++)
        if (newest_mL[k] > behind_mL)
            found = add(layers, solids, layers->count, newest_mL[k], partings, found);
    return found;
}
