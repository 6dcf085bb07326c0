/* What tidies a mask: small patches and holes go, and masks grow and shrink. */

#include "canopy.h"

static u32 root_of(u32 *parents, u32 label) {
  while (parents[label] != label) label = parents[label] = parents[parents[label]];
  return label;
}

static u32 joined(u32 *parents, u32 a, u32 b) {
  if (!a || !b) return a ? a : b;
  a = root_of(parents, a);
  b = root_of(parents, b);
  return parents[a < b ? b : a] = a < b ? a : b;
}

/* Labels of the patches of `mask` that are `value`, joined over corners or not; how many. */
static u32 label_patches(const u8 *mask, int value, int corners, int width, int height,
                         u32 *labels, u32 *parents) {
  u32 next = 1;
  for (int y = 0; y < height; y++)
    for (int x = 0; x < width; x++) {
      size at = (size)y * width + x;
      u32 label = 0;
      if (mask[at] == value) {
        if (x) label = labels[at - 1];
        if (y) label = joined(parents, label, labels[at - width]);
        if (y && corners && x) label = joined(parents, label, labels[at - width - 1]);
        if (y && corners && x + 1 < width) label = joined(parents, label, labels[at - width + 1]);
        if (!label) parents[label = next] = next, next++;
      }
      labels[at] = label;
    }
  return next;
}

/* Turn over every patch of `value` that has fewer than `least_px` pixels. */
static void without_small(u8 *mask, int value, int corners, int least_px, int width, int height) {
  size mark = heap_mark(), count = (size)width * height;
  u32 *labels = take(count * sizeof(u32)), *parents = take((count + 1) * sizeof(u32));
  u32 *sizes = take((count + 1) * sizeof(u32));
  u32 most_labels = label_patches(mask, value, corners, width, height, labels, parents);
  __builtin_memset(sizes, 0, most_labels * sizeof(u32));
  for (size i = 0; i < count; i++)
    if (labels[i]) sizes[labels[i] = root_of(parents, labels[i])]++;
  for (size i = 0; i < count; i++)
    if (labels[i] && sizes[labels[i]] < (u32)least_px) mask[i] = !value;
  heap_release(mark);
}

void clean(u8 *mask, int width, int height, int speck_px) {
  without_small(mask, 1, 1, speck_px, width, height);
  without_small(mask, 0, 0, (int)number(HOLE_PX), width, height);
}

/* `value` wherever it stands within a square that reaches so far; what lies outside is not it. */
static void spread(const u8 *mask, u8 *out, int width, int height, int reach, int value) {
  size mark = heap_mark();
  u8 *across = take((size)width * height);
  for (int y = 0; y < height; y++) {
    const u8 *from = mask + (size)y * width;
    for (int x = 0, last = -reach - 1; x < width + reach; x++) {
      if (x < width && from[x] == value) last = x;
      if (x >= reach) across[(size)y * width + x - reach] = last >= x - 2 * reach;
    }
  }
  for (int y = 0; y < height; y++) {
    u8 *to = out + (size)y * width;
    for (int x = 0; x < width; x++) to[x] = 0;
    for (int row = most(0, y - reach); row <= least(height - 1, y + reach); row++)
      for (int x = 0; x < width; x++) to[x] |= across[(size)row * width + x];
    if (!value)
      for (int x = 0; x < width; x++) to[x] = !to[x];
  }
  heap_release(mark);
}

void grown(const u8 *mask, u8 *out, int width, int height, int reach) {
  spread(mask, out, width, height, reach, 1);
}

void shrunk(const u8 *mask, u8 *out, int width, int height, int reach) {
  spread(mask, out, width, height, reach, 0);
}
