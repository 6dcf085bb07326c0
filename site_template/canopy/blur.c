/* Weighted means of planes of four, mirrored at the border, and enlarging by two or four. */

#include "canopy.h"

/* The place that mirrors `at` at the ends, the outermost not repeated. */
int mirrored(int at, int count) {
  if (count == 1) return 0;
  while (at < 0 || at >= count) at = at < 0 ? -at : 2 * count - 2 - at;
  return at;
}

/* One row, in `line` with room for the kernel's reach on both sides. */
static void blur_row(f4 *row, f4 *line, int width, list kernel) {
  int reach = kernel.count / 2;
  for (int x = 0; x < width; x++) line[reach + x] = row[x];
  for (int x = 1; x <= reach; x++) {
    line[reach - x] = row[mirrored(-x, width)];
    line[reach + width - 1 + x] = row[mirrored(width - 1 + x, width)];
  }
  for (int x = 0; x < width; x++) {
    f4 sum = line[x + reach] * SPLAT(kernel.at[reach]);
    for (int k = 0; k < reach; k++)
      sum += (line[x + k] + line[x + 2 * reach - k]) * SPLAT(kernel.at[k]);
    row[x] = sum;
  }
}

/* Columns, some side by side so that they stay at hand. */
static void blur_columns(f4 *plane, f4 *lines, int width, int height, int across, list kernel) {
  int reach = kernel.count / 2;
  for (int y = -reach; y < height + reach; y++) {
    const f4 *from = plane + (size)mirrored(y, height) * width;
    for (int x = 0; x < across; x++) lines[(y + reach) * across + x] = from[x];
  }
  for (int y = 0; y < height; y++) {
    f4 *to = plane + (size)y * width;
    const f4 *middle = lines + (size)(y + reach) * across;
    for (int x = 0; x < across; x++) {
      f4 sum = middle[x] * SPLAT(kernel.at[reach]);
      for (int k = 1; k <= reach; k++)
        sum += (middle[x - k * across] + middle[x + k * across]) * SPLAT(kernel.at[reach - k]);
      to[x] = sum;
    }
  }
}

/* In place, by a kernel that is alike on both sides. */
void blur(f4 *plane, int width, int height, list kernel) {
  enum { ACROSS = 4 };
  size mark = heap_mark();
  f4 *line = take((size)(most(width, height * ACROSS) + kernel.count * ACROSS) * sizeof(f4));
  for (int y = 0; y < height; y++) blur_row(plane + (size)y * width, line, width, kernel);
  for (int x = 0; x < width; x += ACROSS)
    blur_columns(plane + x, line, width, height, least(ACROSS, width - x), kernel);
  heap_release(mark);
}

/* Where a place of the enlarged picture lies between two of the small one. */
static void between(int at, int by, int count, int *first, int *second, float *part) {
  int odd = 2 * at + 1 - by; /* in halves of the enlarged places */
  int below = odd < 0 ? -1 : odd / (2 * by);
  *part = (float)(odd - below * 2 * by) / (float)(2 * by);
  *first = most(0, below);
  *second = least(count - 1, below + 1);
}

/* Row `y` of a plane enlarged `by` times: `width` × `by` wide. */
void enlarged_row(const f4 *small, int width, int height, int by, int y, f4 *row) {
  int above, below;
  float part;
  between(y, by, height, &above, &below, &part);
  const f4 *upper = small + (size)above * width, *lower = small + (size)below * width;
  size mark = heap_mark();
  f4 *line = take((size)width * sizeof(f4));
  for (int x = 0; x < width; x++)
    line[x] = upper[x] * SPLAT(1 - part) + lower[x] * SPLAT(part);
  for (int x = 0; x < width * by; x++) {
    int left, right;
    between(x, by, width, &left, &right, &part);
    row[x] = line[left] * SPLAT(1 - part) + line[right] * SPLAT(part);
  }
  heap_release(mark);
}
