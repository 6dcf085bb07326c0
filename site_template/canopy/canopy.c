/* One picture -> its mask and how much of each pixel is canopy (lapsekit/vision/canopy.py). */

#include "canopy.h"

static u8 *mask;
static float *cover;

/* The mask as a hand would draw it: network, perceptron and the picture's own colours together. */
static void drawn_mask(const float *odds) {
  size mark = heap_mark();
  int count = picture.width * picture.height;
  feature_planes planes;
  float *by_hand = take((size)count * sizeof(float));
  features_begin(&planes);
  hand_odds(&planes, by_hand);
  for (int i = 0; i < count; i++) by_hand[i] += number(NETWORK) * odds[i];
  with_own_colours(&planes, odds, by_hand);
  for (int i = 0; i < count; i++) {
    int sure = odds[i] < number(NO_LEAF) || odds[i] > number(LEAF);
    mask[i] = (sure ? odds[i] : by_hand[i]) > number(LEAST_ODDS);
  }
  clean(mask, picture.width, picture.height, (int)number(SPECK_PX));
  heap_release(mark);
}

static void measure_by_model(void) {
  size mark = heap_mark(), count = (size)picture.width * picture.height;
  float *odds = take(count * sizeof(float));
  u8 *leaf = take(count);
  network_odds(odds);
  look_again(odds);
  for (size i = 0; i < count; i++) leaf[i] = odds[i] > 0;
  clean(leaf, picture.width, picture.height, (int)number(PIECE_PX));
  cover_of(leaf, odds, cover);
  drawn_mask(odds);
  heap_release(mark);
}

/* Measure the picture that was taken in. */
__attribute__((export_name("measure"))) void measure(void) {
  size count = (size)picture.width * picture.height;
  mask = take(count);
  cover = take(count * sizeof(float));
  if (number(METHOD) == 0) {
    measure_by_model();
    return;
  }
  index_mask(mask);
  clean(mask, picture.width, picture.height, (int)number(SPECK_PX));
  for (size i = 0; i < count; i++) cover[i] = mask[i];
}

__attribute__((export_name("mask_at"))) u8 *mask_at(void) { return mask; }
__attribute__((export_name("cover_at"))) float *cover_at(void) { return cover; }

/* How many whole pixels a row or column of the enlarged mask stands for: what is over at the
   picture's end repeats the last one. */
static int stands_for(int at, int inside, int whole) {
  return at == inside - 1 ? 1 + whole - inside : 1;
}

/* Pixels of the whole picture between four of the measured one that the enlarged mask holds. */
static double held_between(int x, int y) {
  int by = picture.by, width = picture.width * by, height = picture.height * by;
  int left = most(x, 0), right = least(x + 1, picture.width - 1);
  const u8 *upper = mask + (size)most(y, 0) * picture.width;
  const u8 *lower = mask + (size)least(y + 1, picture.height - 1) * picture.width;
  int a = upper[left], b = upper[right], c = lower[left], d = lower[right], all = 2 * by;
  double found = 0;
  if (!(a | b | c | d)) return 0;
  for (int j = 0; j < by; j++)
    for (int i = 0; i < by; i++) {
      int column = x * by + by / 2 + i, row = y * by + by / 2 + j;
      if (column < 0 || row < 0 || column >= width || row >= height) continue;
      int p = 2 * i + 1, q = 2 * j + 1;
      int sum = (all - q) * ((all - p) * a + p * b) + q * ((all - p) * c + p * d);
      if (2 * sum > all * all)
        found += stands_for(column, width, picture.whole_width) *
                 stands_for(row, height, picture.whole_height);
    }
  return found;
}

/* The mask's area in pixels of the whole picture: that of the file `lapsekit mask` writes. */
__attribute__((export_name("mask_px"))) double mask_px(void) {
  double found = 0;
  if (picture.by == 1) {
    for (int i = 0; i < picture.width * picture.height; i++) found += mask[i];
    return found;
  }
  for (int y = -1; y < picture.height; y++)
    for (int x = -1; x < picture.width; x++) found += held_between(x, y);
  return found;
}
