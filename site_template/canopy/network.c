/* The network: log odds, for each pixel, that a point in it is leaf. A U-net that begins at half
   the picture's resolution with the four pixels of a place side by side (tests/canopy_network.py). */

#include "canopy.h"

/* Numbers of each place side by side, with a border of one place of zeros. */
typedef struct { float *at; int width, height, channels; } places;

static places new_places(int width, int height, int channels) {
  size count = (size)(width + 2) * (height + 2) * channels;
  places found = {take(count * sizeof(float)), width, height, channels};
  __builtin_memset(found.at, 0, count * sizeof(float));
  return found;
}

static float *place(const places *p, int x, int y) {
  return p->at + ((size)(y + 1) * (p->width + 2) + x + 1) * p->channels;
}

static f4 rectified(f4 x) { return f4_most(x, (f4){0, 0, 0, 0}); }

/* Sixteen results of three places, put where they belong. */
static void put(f4 found[ABREAST][4], float *to, int results, int rectify) {
  for (int p = 0; p < ABREAST; p++)
    for (int k = 0; k < 4; k++)
      ((f4 *)(to + p * results))[k] = rectify ? rectified(found[p][k]) : found[p][k];
}

/* One row of a layer, `to` its first place. Places are taken three by three, the last three once
   more where the width is no multiple. */
static void layer_row(const layer *l, const float *const *rows, int count, int length, int step,
                      float *to, int width, int rectify) {
  size weights = (size)count * length * TOGETHER;
  for (int block = 0; block < l->results; block += TOGETHER)
    for (int x = 0; x < width; x += ABREAST) {
      int at = least(x, width - ABREAST);
      const float *here[3];
      for (int row = 0; row < count; row++) here[row] = rows[row] + (size)at * step;
      f4 found[ABREAST][4];
      patch(here, count, length, step, l->weights + block / TOGETHER * weights,
            l->biases + block, found);
      put(found, to + (size)at * l->results + block, l->results, rectify);
    }
}

/* A row of a layer that looks at 3 × 3 places, every `stride`th of them. */
static void around_row(const layer *l, const places *from, int stride, int y, float *to) {
  const float *rows[3];
  for (int row = 0; row < 3; row++) rows[row] = place(from, -1, y * stride + row - 1);
  layer_row(l, rows, 3, 3 * from->channels, stride * from->channels, to, from->width / stride, 1);
}

static places around(int which, const places *from, int stride) {
  const layer *l = &rule.network[which];
  places found = new_places(from->width / stride, from->height / stride, l->results);
  for (int y = 0; y < found.height; y++) around_row(l, from, stride, y, place(&found, 0, y));
  return found;
}

/* What was seen at half the resolution, with as many channels as `into` has, added to it. */
static void add_doubled(int which, const places *seen, const places *into) {
  const layer *l = &rule.network[which];
  size mark = heap_mark();
  float *row = take((size)seen->width * l->results * sizeof(float));
  for (int y = 0; y < seen->height; y++) {
    const float *from = place(seen, 0, y);
    layer_row(l, &from, 1, seen->channels, seen->channels, row, seen->width, 0);
    for (int half = 0; half < 2; half++) {
      float *to = place(into, 0, 2 * y + half);
      for (int x = 0; x < into->width; x++, to += l->results)
        for (int k = 0; k < l->results; k += 4)
          *(f4 *)(to + k) += *(f4 *)(row + (size)(x / 2) * l->results + k);
    }
  }
  heap_release(mark);
}

/* Logarithms of a row of the picture with its margin, three to a pixel. */
static void logarithms_row(int y, int width, float *to) {
  int margin = (int)number(MARGIN_PX);
  const u8 *row = picture.rgb + (size)mirrored(y - margin, picture.height) * picture.width * 3;
  for (int x = 0; x < width; x++) {
    const u8 *rgb = row + (size)mirrored(x - margin, picture.width) * 3;
    for (int c = 0; c < 3; c++) *to++ = rule.logarithms.at[rgb[c]];
  }
}

static float halved, coarseness;

/* What the picture's file tells of its colours (lapsekit/vision/detail.py). */
__attribute__((export_name("tell"))) void tell(float colours_halved, float colours_coarseness) {
  halved = colours_halved;
  coarseness = colours_coarseness;
}

void told_of_colours(float two[2]) {
  two[0] = halved;
  two[1] = coarseness;
}

/* The first layer, what is told of the picture's colours among its offsets. */
static layer first_layer(void) {
  layer found = rule.network[COLOURS];
  float *biases = take(found.results * sizeof(float));
  for (int k = 0; k < found.results; k++)
    biases[k] =
        found.biases[k] + halved * rule.told.at[2 * k] + coarseness * rule.told.at[2 * k + 1];
  found.biases = biases;
  return found;
}

static places colours_of_picture(int width, int height) {
  places found = new_places(width / 2, height / 2, rule.network[COLOURS].results);
  size mark = heap_mark();
  layer first = first_layer(), *l = &first;
  float *logs = take((size)width * 6 * sizeof(float));
  const float *rows[2] = {logs, logs + (size)width * 3};
  for (int y = 0; y < found.height; y++) {
    logarithms_row(2 * y, width, logs);
    logarithms_row(2 * y + 1, width, logs + (size)width * 3);
    layer_row(l, rows, 2, 6, 6, place(&found, 0, y), found.width, 0);
  }
  heap_release(mark);
  return found;
}

static int with_margin(int side) {
  int step = (int)number(STEP_PX), margin = (int)number(MARGIN_PX);
  return margin + side + margin + (step - side % step) % step;
}

/* The four odds of each place of a row, and where they lie in the picture. */
static void odds_row(const float *fine, int y, int width, float *odds) {
  const layer *l = &rule.network[ODDS];
  int margin = (int)number(MARGIN_PX);
  for (int x = 0; x < width; x++, fine += l->channels)
    for (int k = 0; k < 4; k++) {
      int column = 2 * x + k % 2 - margin, row = 2 * y + k / 2 - margin;
      if (column < 0 || row < 0 || column >= picture.width || row >= picture.height) continue;
      f4 sum = {0, 0, 0, 0};
      const float *weights = l->weights + k * l->channels;
      for (int c = 0; c < l->channels; c += 4) sum += *(f4 *)(fine + c) * *(f4 *)(weights + c);
      odds[(size)row * picture.width + column] =
          l->biases[k] + (sum[0] + sum[1]) + (sum[2] + sum[3]);
    }
}

/* What is seen around a place meets the four pixels' own colours once more. */
static void put_together(const places *seen, const places *colours, float *odds) {
  const layer *up = &rule.network[UP_1], *fine = &rule.network[FINE];
  const layer *own = &rule.network[OWN_COLOURS];
  int width = seen->width;
  float *around_it = take((size)width * up->results * sizeof(float));
  float *met = take((size)width * fine->results * sizeof(float));
  float *apart = take((size)width * fine->results * sizeof(float));
  for (int y = 0; y < seen->height; y++) {
    around_row(up, seen, 1, y, around_it);
    const float *rows[2] = {around_it, place(colours, 0, y)};
    layer_row(fine, rows, 1, up->results, up->results, met, width, 0);
    layer_row(own, rows + 1, 1, colours->channels, colours->channels, apart, width, 0);
    for (int k = 0; k < width * fine->results; k += 4)
      *(f4 *)(met + k) = rectified(*(f4 *)(met + k) + *(f4 *)(apart + k));
    odds_row(met, y, width, odds);
  }
}

/* Log odds of leaf for each pixel of the picture. */
void network_odds(float *odds) {
  size mark = heap_mark();
  int width = with_margin(picture.width), height = with_margin(picture.height);
  places colours = colours_of_picture(width, height);
  places half = around(DOWN_1, &colours, 1);
  places half_way = around(DOWN_2A, &half, 2), quarter = around(DOWN_2B, &half_way, 1);
  half_way = around(DOWN_3A, &quarter, 2);
  places eighth = around(DOWN_3B, &half_way, 1);
  half_way = around(DOWN_4A, &eighth, 2);
  places seen = around(DOWN_4B, &half_way, 1);
  add_doubled(NARROW_3, &seen, &eighth);
  seen = around(UP_3, &eighth, 1);
  add_doubled(NARROW_2, &seen, &quarter);
  seen = around(UP_2, &quarter, 1);
  add_doubled(NARROW_1, &seen, &half);
  put_together(&half, &colours, odds);
  heap_release(mark);
}
