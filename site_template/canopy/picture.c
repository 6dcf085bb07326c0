/* The picture as it is measured: smaller, by means of blocks, where it is large. */

#include "canopy.h"

typedef u8 b8 __attribute__((vector_size(8)));
typedef u16 h8 __attribute__((vector_size(16)));

picture_held picture;

static size kept; /* where the heap stood before the first picture */
static u8 *band;
static int done;  /* rows of the smaller picture that are there */

static int reduction_of(int longest) {
  for (int by = 8; by > 1; by /= 2)
    if (longest >= by * number(LEAST_LONG_SIDE_PX)) return by;
  return 1;
}

/* Begin a picture of some size; gives how many times smaller it is measured. */
__attribute__((export_name("picture_begin"))) int picture_begin(int width, int height) {
  if (kept) heap_release(kept);
  kept = heap_mark();
  picture.whole_width = width;
  picture.whole_height = height;
  picture.by = reduction_of(most(width, height));
  picture.width = width / picture.by;
  picture.height = height / picture.by;
  picture.rgb = take((size)picture.width * picture.height * 3);
  done = 0;
  return picture.by;
}

__attribute__((export_name("picture_width"))) int picture_width(void) { return picture.width; }
__attribute__((export_name("picture_height"))) int picture_height(void) { return picture.height; }
__attribute__((export_name("picture_at"))) u8 *picture_at(void) { return picture.rgb; }

/* Room for so many rows of the whole picture, four bytes a pixel. */
__attribute__((export_name("band_space"))) u8 *band_space(int rows) {
  return band = take((size)picture.whole_width * rows * 4);
}

/* The mean of a block; halves are rounded as OpenCV does: up for 2 × 2, to even for larger. */
static u8 mean(u32 sum, u32 count) {
  u32 whole = sum / count, twice = 2 * (sum % count);
  if (twice > count || (twice == count && (count == 4 || whole & 1))) whole++;
  return (u8)whole;
}

static void reduce_row(const u8 *from, u8 *to) {
  int by = picture.by;
  size stride = (size)picture.whole_width * 4;
  u32 count = (u32)(by * by);
  for (int x = 0; x < picture.width; x++, to += 3, from += 4 * by) {
    h8 sum = {0, 0, 0, 0, 0, 0, 0, 0};
    for (int row = 0; row < by; row++)
      for (int pair = 0; pair < by / 2; pair++) {
        b8 two;
        __builtin_memcpy(&two, from + row * stride + 8 * pair, 8);
        sum += __builtin_convertvector(two, h8);
      }
    for (int c = 0; c < 3; c++) to[c] = mean((u32)sum[c] + sum[c + 4], count);
  }
}

/* Take in the next rows of the whole picture from `band_space`: a multiple of the reduction. */
__attribute__((export_name("picture_rows"))) void picture_rows(int rows) {
  int by = picture.by;
  for (int row = 0; row + by <= rows && done < picture.height; row += by, done++) {
    const u8 *from = band + (size)row * picture.whole_width * 4;
    u8 *to = picture.rgb + (size)done * picture.width * 3;
    if (by > 1) {
      reduce_row(from, to);
      continue;
    }
    for (int x = 0; x < picture.width; x++)
      for (int c = 0; c < 3; c++) to[3 * x + c] = from[4 * x + c];
  }
}
