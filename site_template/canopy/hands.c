/* The perceptron that learned how hands draw leaves (lapsekit/vision/perceptron.py). */

#include "canopy.h"

enum { FEATURES = 24, PARTS = FEATURES / 4 };

typedef struct { f4 *mean, *spread, *wide[2]; } feature_rows;

static feature_rows rows_taken(int width) {
  feature_rows found;
  found.mean = take((size)width * sizeof(f4));
  found.spread = take((size)width * sizeof(f4));
  for (int k = 0; k < 2; k++) found.wide[k] = take((size)width * sizeof(f4));
  return found;
}

static void fill_rows(const feature_planes *p, int y, feature_rows *rows) {
  enlarged_row(p->mean, p->width / 2, p->height / 2, 2, y, rows->mean);
  enlarged_row(p->spread, p->width / 2, p->height / 2, 2, y, rows->spread);
  for (int k = 0; k < 2; k++)
    enlarged_row(p->wide[k], p->width / 4, p->height / 4, 4, y, rows->wide[k]);
}

/* The features of one pixel, held within what the perceptron learned from. */
static void gather(const feature_planes *p, const feature_rows *rows, int x, int y, f4 *to) {
  size at = (size)y * p->width + x;
  float red, green;
  shares_of_pixel(picture.rgb + ((size)y * picture.width + x) * 3, &red, &green);
  to[0] = p->own[at];
  to[1] = p->near[at];
  to[2] = rows->mean[x];
  to[3] = rows->wide[0][x];
  to[4] = rows->wide[1][x];
  to[5] = (f4){red, green, __builtin_sqrtf(rows->spread[x][0]), 0};
  const f4 *lowest = (const f4 *)rule.lowest.at, *highest = (const f4 *)rule.highest.at;
  for (int k = 0; k < PARTS; k++) to[k] = f4_least(f4_most(to[k], lowest[k]), highest[k]);
}

/* The perceptron's results for three pixels side by side. */
static void judge(const float *gathered, float bias, float *odds) {
  const layer *l = &rule.hidden;
  f4 sums[ABREAST] = {{0, 0, 0, 0}, {0, 0, 0, 0}, {0, 0, 0, 0}};
  for (int block = 0; block < l->results; block += TOGETHER) {
    f4 found[ABREAST][4];
    patch(&gathered, 1, FEATURES, FEATURES, l->weights + (size)block * FEATURES,
          l->biases + block, found);
    const f4 *output = (const f4 *)(rule.output.at + block);
    for (int p = 0; p < ABREAST; p++)
      for (int k = 0; k < 4; k++)
        sums[p] += f4_most(found[p][k], (f4){0, 0, 0, 0}) * output[k];
  }
  for (int p = 0; p < ABREAST; p++)
    odds[p] = bias + (sums[p][0] + sums[p][1]) + (sums[p][2] + sums[p][3]);
}

/* Log odds that a hand draws a pixel as leaf; those of pixels not greener than grey are NEVER. */
void hand_odds(const feature_planes *p, float *odds) {
  size mark = heap_mark();
  int width = picture.width;
  feature_rows rows = rows_taken(p->width);
  f4 *gathered = take((size)(width + ABREAST) * FEATURES * sizeof(float));
  int *places = take((size)width * sizeof(int));
  for (int y = 0; y < picture.height; y++) {
    float *to = odds + (size)y * width, found[ABREAST];
    int count = 0;
    for (int x = 0; x < width; x++) {
      to[x] = number(NEVER);
      if (p->near[(size)y * p->width + x][1] < number(GREY_A)) places[count++] = x;
    }
    if (count) fill_rows(p, y, &rows);
    for (int i = 0; i < count; i++) gather(p, &rows, places[i], y, gathered + i * PARTS);
    for (int i = 0; i < count; i += ABREAST) {
      judge((const float *)(gathered + i * PARTS), number(HAND_BIAS), found);
      for (int k = 0; k < ABREAST && i + k < count; k++) to[places[i + k]] = found[k];
    }
  }
  heap_release(mark);
}
