/* How much of each pixel is canopy: along the outline, by the pure colours on both sides in linear
   light (lapsekit/vision/edges.py) and by what the network expects (cover.py). */

#include "canopy.h"

typedef struct {
  int width, height;          /* half the picture's */
  int across, down;           /* a quarter of it */
  f4 *ground, *pure;          /* mean colours nearby, and the weight that they rest on */
  f4 *near;                   /* shares of the window that are ground, and pure leaf */
} sides;

/* Which source places a place of a smaller axis is the mean of, as OpenCV has it. */
typedef struct { int first, count; float weights[4]; } covered;

static covered covered_by(int at, int from, int to) {
  double scale = (double)from / to, start = at * scale, end = start + scale;
  double whole = scale < from - start ? scale : from - start;
  int last = least((int)__builtin_floor(end), from - 1);
  int first = least((int)__builtin_ceil(start), last);
  covered found = {first, 0, {0, 0, 0, 0}};
  if (first - start > 1e-3) {
    found.first = first - 1;
    found.weights[found.count++] = (float)((first - start) / whole);
  }
  for (int i = first; i < last; i++) found.weights[found.count++] = (float)(1 / whole);
  if (end - last > 1e-3) {
    double part = end - last < 1 ? end - last : 1;
    found.weights[found.count++] = (float)((part < whole ? part : whole) / whole);
  }
  return found;
}

/* The picture at half its size, by means. */
static u8 *halved(const sides *s) {
  int width = picture.width, height = picture.height;
  u8 *found = take((size)s->width * s->height * 3), *to = found;
  int even = !(width % 2 || height % 2);
  size mark = heap_mark();
  covered *across = take((size)s->width * sizeof(covered));
  for (int x = 0; x < s->width; x++) across[x] = covered_by(x, width, s->width);
  for (int y = 0; y < s->height; y++) {
    covered down = covered_by(y, height, s->height);
    for (int x = 0; x < s->width; x++)
      for (int c = 0; c < 3; c++) {
        float sum = 0;
        for (int j = 0; j < down.count; j++)
          for (int i = 0; i < across[x].count; i++)
            sum += down.weights[j] * across[x].weights[i] *
                   picture.rgb[((size)(down.first + j) * width + across[x].first + i) * 3 + c];
        /* halves of a mean of four go up, others to even numbers */
        *to++ = (u8)(even ? sum + 0.5f : __builtin_rintf(sum));
      }
  }
  heap_release(mark);
  return found;
}

/* Whether a pixel that is `value` is so in all the square around it, both ways, for each place of
   half the picture: the first pixel of its four stands for it. */
static void add_pure(const u8 *mask, int leaf, const sides *s, f4 *to) {
  int width = picture.width, height = picture.height;
  u8 *changed = take((size)width * height);
  for (int far = 0; far < 2; far++) {
    int reach = (int)number(far ? PURE_FAR_PX : PURE_NEAR_PX);
    if (leaf) shrunk(mask, changed, width, height, reach);
    else grown(mask, changed, width, height, reach);
    for (int y = 0; y < s->height; y++)
      for (int x = 0; x < s->width; x++) {
        int is = changed[(size)least(2 * y, height - 1) * width + least(2 * x, width - 1)] == leaf;
        f4 *at = to + (size)y * s->width + x;
        if (!far) *at = SPLAT((float)is);
        else if (is) *at += SPLAT(number(PURER) - 1);
      }
  }
}

/* What is nearby, at a quarter of the picture's size: means of a plane at half of it, in place. */
static void nearby(f4 *plane, const sides *s) {
  size mark = heap_mark();
  covered *across = take((size)s->across * sizeof(covered));
  for (int x = 0; x < s->across; x++) across[x] = covered_by(x, s->width, s->across);
  for (int y = 0; y < s->down; y++) {
    covered down = covered_by(y, s->height, s->down);
    for (int x = 0; x < s->across; x++) {
      f4 sum = {0, 0, 0, 0};
      for (int j = 0; j < down.count; j++)
        for (int i = 0; i < across[x].count; i++)
          sum += SPLAT(down.weights[j] * across[x].weights[i]) *
                 plane[(size)(down.first + j) * s->width + across[x].first + i];
      plane[(size)y * s->across + x] = sum;
    }
  }
  heap_release(mark);
  blur(plane, s->across, s->down, rule.pure_blur);
}

/* Weighted colours nearby: the three channels of linear light, and the weight itself. */
static void weigh(const u8 *small, const sides *s, f4 *weights) {
  const float *light = rule.linear.at;
  for (int i = 0; i < s->width * s->height; i++, small += 3)
    weights[i] *= (f4){light[small[0]], light[small[1]], light[small[2]], 1};
  nearby(weights, s);
  for (int i = 0; i < s->across * s->down; i++) {
    float total = weights[i][3];
    weights[i] /= SPLAT(total > 1e-6f ? total : 1e-6f);
  }
}

static sides sides_of(const u8 *mask) {
  sides s = {most(1, picture.width / 2), most(1, picture.height / 2), 0, 0, 0, 0, 0};
  s.across = most(1, s.width / 2);
  s.down = most(1, s.height / 2);
  int count = s.width * s.height;
  f4 **planes[] = {&s.ground, &s.pure, &s.near};
  for (int k = 0; k < 3; k++) *planes[k] = take((size)count * sizeof(f4));
  const u8 *small = halved(&s);
  add_pure(mask, 0, &s, s.ground);
  add_pure(mask, 1, &s, s.pure);
  for (int i = 0; i < count; i++) s.near[i] = (f4){s.ground[i][0] > 0, s.pure[i][0] > 0, 0, 0};
  nearby(s.near, &s);
  weigh(small, &s, s.ground);
  weigh(small, &s, s.pure);
  return s;
}

static float dot(f4 a, f4 b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }

/* How far a colour lies on the way from ground to leaf; whether that can be told. */
static int between(f4 seen, f4 ground, f4 leaf, float *share) {
  f4 way = leaf - ground;
  float contrast = dot(way, way);
  way /= SPLAT(contrast > 1e-9f ? contrast : 1e-9f);
  float found = dot(seen, way) - dot(ground, way);
  *share = found < 0 ? 0 : found > 1 ? 1 : found;
  return contrast > number(LEAST_CONTRAST);
}

static float share_of(int x, int y, float odds, const sides *s) {
  const u8 *rgb = picture.rgb + ((size)y * picture.width + x) * 3;
  const float *light = rule.linear.at;
  f4 seen = {light[rgb[0]], light[rgb[1]], light[rgb[2]], 0};
  size at = (size)least(y / 4, s->down - 1) * s->across + least(x / 4, s->across - 1);
  f4 near = s->near[at];
  float expected = share_by(odds), leaf;
  if (!between(seen, s->ground[at], s->pure[at], &leaf) ||
      near[0] <= number(LEAST_PURE_GROUND) || near[1] <= number(LEAST_PURE_LEAF))
    return expected;
  float trust = (near[1] - number(UNSURE_COLOUR)) / number(FIRM);
  trust = trust < 0 ? 0 : trust > 1 ? 1 : trust;
  float by_colour = (0.5f + 0.5f * trust) / number(COLOUR_VARIANCE);
  float by_network = 1 / (expected * (1 - expected) + number(LEAST_VARIANCE));
  return (by_network * expected + by_colour * leaf) / (by_network + by_colour);
}

/* Beyond the outline's band: leaves so narrow that they nowhere fill half a pixel, followed from the
   mask from pixel to pixel, and over gaps between pixels that would touch if they were broader. */
static void add_faint(const u8 *mask, const u8 *outer, const float *odds, float *cover) {
  size mark = heap_mark();
  int width = picture.width, height = picture.height, waiting = 0;
  int step = 2 * (int)number(GAP_PX) + 1;
  u8 *reached = take((size)width * height);
  u32 *queue = take((size)width * height * sizeof(u32));
  __builtin_memcpy(reached, mask, (size)width * height);
  for (int at = 0; at < width * height; at++)
    if (mask[at]) queue[waiting++] = (u32)at;
  while (waiting) {
    int at = (int)queue[--waiting], row = at / width, column = at % width;
    for (int y = most(0, row - step); y <= least(height - 1, row + step); y++)
      for (int x = most(0, column - step); x <= least(width - 1, column + step); x++) {
        int next = y * width + x;
        if (reached[next] || odds[next] <= number(FAINT_ODDS)) continue;
        reached[next] = 1;
        queue[waiting++] = (u32)next;
        if (!outer[next]) cover[next] = share_by(odds[next]);
      }
  }
  heap_release(mark);
}

/* Shares for a cleaned mask: 1 inside and 0 away from it, parts in holes that were closed, along its
   outline and where narrow leaves reach out of it. */
void cover_of(const u8 *mask, const float *odds, float *cover) {
  size mark = heap_mark();
  int width = picture.width, height = picture.height, reach = (int)number(BAND_PX);
  u8 *outer = take((size)width * height), *inner = take((size)width * height);
  grown(mask, outer, width, height, reach);
  shrunk(mask, inner, width, height, reach);
  sides s = sides_of(mask);
  for (int y = 0; y < height; y++)
    for (int x = 0; x < width; x++) {
      size at = (size)y * width + x;
      if (outer[at] != inner[at]) cover[at] = share_of(x, y, odds[at], &s);
      else if (mask[at] && odds[at] <= 0) cover[at] = share_by(odds[at]); /* a hole, closed */
      else cover[at] = (float)mask[at];
    }
  add_faint(mask, outer, odds, cover);
  heap_release(mark);
}
