/* A second look at pixels of which the network is not sure (lapsekit/vision/second_look.py). */

#include "canopy.h"

/* A hidden layer's results for three pixels side by side, rectified. */
static void hidden(const layer *l, const float *from, float *to) {
  for (int block = 0; block < l->results; block += TOGETHER) {
    f4 found[ABREAST][4];
    patch(&from, 1, l->channels, l->channels, l->weights + (size)block * l->channels,
          l->biases + block, found);
    for (int p = 0; p < ABREAST; p++)
      for (int k = 0; k < 4; k++)
        *(f4 *)(to + (size)p * l->results + block + 4 * k) =
            f4_most(found[p][k], (f4){0, 0, 0, 0});
  }
}

static float moved(const float *units) {
  const layer *l = &rule.look[2];
  f4 sum = {0, 0, 0, 0};
  for (int k = 0; k < l->channels; k += 4) sum += *(f4 *)(units + k) * *(f4 *)(l->weights + k);
  return l->biases[0] + (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

/* How much a second look counts where so much around is in doubt. */
static float counted(float doubt) {
  float share = (number(LOOK_LOST) - doubt) / (number(LOOK_LOST) - number(LOOK_COUNTED));
  return share < 0 ? 0 : share > 1 ? 1 : share;
}

/* Moves the log odds of pixels in doubt. */
void look_again(float *odds) {
  size mark = heap_mark();
  int width = picture.width, count = width * picture.height;
  const layer *first = &rule.look[0], *second = &rule.look[1];
  float *found = take((size)count * sizeof(float));
  float *gathered = take((size)(width + ABREAST) * LOOKED_AT * sizeof(float));
  float *units = take((size)ABREAST * first->results * sizeof(float));
  float *more = take((size)ABREAST * second->results * sizeof(float));
  int *places = take((size)width * sizeof(int));
  const seen *s = surroundings(odds);
  if (!s) {
    heap_release(mark);
    return;
  }
  __builtin_memcpy(found, odds, (size)count * sizeof(float));
  for (int y = 0; y < picture.height; y++) {
    int doubtful = 0;
    for (int x = 0; x < width; x++) {
      float here = odds[(size)y * width + x];
      if (here > -number(LOOK_UNSURE) && here < number(LOOK_UNSURE)) places[doubtful++] = x;
    }
    for (int i = 0; i < doubtful; i++) seen_of(s, places[i], y, gathered + (size)i * LOOKED_AT);
    for (int i = 0; i < doubtful; i += ABREAST) {
      hidden(first, gathered + (size)i * LOOKED_AT, units);
      hidden(second, units, more);
      for (int k = 0; k < ABREAST && i + k < doubtful; k++)
        found[(size)y * width + places[i + k]] +=
            moved(more + (size)k * second->results) * counted(doubt_around(s, places[i + k], y));
    }
  }
  __builtin_memcpy(odds, found, (size)count * sizeof(float));
  heap_release(mark);
}
