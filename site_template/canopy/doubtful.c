/* What a second look sees of a pixel in doubt (lapsekit/vision/doubtful.py). */

#include "canopy.h"

/* Means over the windows, four to a pixel, and what is looked at pixel by pixel. `around` lies at
   half the size, `far` at a quarter. */
struct seen {
  f4 *around[3]; /* doubt, share, leaf and its lightness; its two colours, squared lightness, and
                    ground; its lightness, two colours and squared lightness */
  f4 *far[2];    /* the first two of these */
  f4 *beside;    /* lightness and its square */
  f4 *like;      /* how like leaf, how common, and how like leaf in two windows around */
  const float *odds;
  float *held, *lighter; /* log odds, and lightness against what is near by */
  float usual;
  int half, quarter; /* widths */
};

/* Lightness, green against red, green against blue, as logarithms; and lightness squared. */
static f4 colours_at(int at) {
  const u8 *rgb = picture.rgb + (size)at * 3;
  const float *log = rule.logarithms.at;
  float red = log[rgb[0]], green = log[rgb[1]], blue = log[rgb[2]];
  float light = (red + green + blue) / 3;
  return (f4){light, green - red, green - blue, light * light};
}

static void box_blur(f4 *plane, int width, int height, int side) {
  size mark = heap_mark();
  float *weights = take((size)side * sizeof(float));
  for (int k = 0; k < side; k++) weights[k] = 1.0f / (float)side;
  list kernel = {weights, side};
  blur(plane, width, height, kernel);
  heap_release(mark);
}

/* Means of 2 x 2, mirrored where a side is odd. */
static f4 *halved(const f4 *plane, int width, int height) {
  int across = (width + 1) / 2, down = (height + 1) / 2;
  f4 *found = take((size)across * down * sizeof(f4));
  for (int y = 0; y < down; y++) {
    const f4 *upper = plane + (size)(2 * y) * width;
    const f4 *lower = plane + (size)mirrored(2 * y + 1, height) * width;
    for (int x = 0; x < across; x++) {
      int left = 2 * x, right = mirrored(2 * x + 1, width);
      found[(size)y * across + x] =
          (upper[left] + upper[right] + lower[left] + lower[right]) * SPLAT(0.25f);
    }
  }
  return found;
}

/* What is surely leaf or ground in windows around; `whole` is a plane to work in. */
static void see_windows(seen *s, const float *shares, f4 *whole) {
  int width = picture.width, height = picture.height, count = width * height;
  for (int k = 0; k < 3; k++) {
    for (int i = 0; i < count; i++) {
      f4 c = colours_at(i);
      float share = shares[i], leaf = surely_leaf(share), ground = surely_ground(share);
      whole[i] = k == 0   ? (f4){share * (1 - share), share, leaf, leaf * c[0]}
                 : k == 1 ? (f4){leaf * c[1], leaf * c[2], leaf * c[3], ground}
                          : SPLAT(ground) * c;
    }
    s->around[k] = halved(whole, width, height);
  }
  int half = (width + 1) / 2, down = (height + 1) / 2;
  s->half = half;
  s->quarter = (half + 1) / 2;
  for (int k = 0; k < 2; k++) s->far[k] = halved(s->around[k], half, down);
  for (int k = 0; k < 3; k++) box_blur(s->around[k], half, down, (int)number(LOOK_AROUND_PX));
  for (int k = 0; k < 2; k++)
    box_blur(s->far[k], s->quarter, (down + 1) / 2, (int)number(LOOK_FAR_PX));
}

static void see_lightness(seen *s) {
  int count = picture.width * picture.height;
  double sum = 0;
  s->beside = take((size)count * sizeof(f4));
  for (int i = 0; i < count; i++) {
    f4 c = colours_at(i);
    s->beside[i] = (f4){c[0], c[3], 0, 0};
    sum += c[0];
  }
  s->usual = (float)(sum / count);
  box_blur(s->beside, picture.width, picture.height, (int)number(LOOK_BESIDE_PX));
  for (int i = 0; i < count; i++) s->lighter[i] = colours_at(i)[0] - s->beside[i][0];
}

/* Means of `like` over a window, into one of its own places. */
static void blur_like(seen *s, int side, int to) {
  size mark = heap_mark(), count = (size)picture.width * picture.height;
  f4 *work = take(count * sizeof(f4));
  __builtin_memcpy(work, s->like, count * sizeof(f4));
  box_blur(work, picture.width, picture.height, side);
  for (size i = 0; i < count; i++) s->like[i][to] = work[i][0];
  heap_release(mark);
}

static int are_known(const float *shares, int count) {
  int leaf = 0, ground = 0, wanted = (int)number(LOOK_LEAST_SURE_PX);
  for (int i = 0; i < count; i++) {
    leaf += surely_leaf(shares[i]);
    ground += surely_ground(shares[i]);
  }
  return leaf >= wanted && ground >= wanted;
}

/* What is seen around each pixel of the picture; 0 where too little of it is sure. */
const seen *surroundings(const float *odds) {
  int count = picture.width * picture.height;
  seen *s = take(sizeof(seen));
  s->odds = odds;
  s->held = take((size)count * sizeof(float));
  s->lighter = take((size)count * sizeof(float));
  s->like = take((size)count * sizeof(f4));
  float *shares = take((size)count * sizeof(float));
  for (int i = 0; i < count; i++) {
    shares[i] = share_by(odds[i]);
    s->held[i] = held_within(odds[i], number(LOOK_MOST_ODDS));
  }
  if (!are_known(shares, count)) return 0;
  see_windows(s, shares, s->like);
  see_lightness(s);
  leaf_likeness(shares, s->like);
  blur_like(s, (int)number(LOOK_LIKE_PX), 2);
  blur_like(s, (int)number(LOOK_LIKE_WIDER_PX), 3);
  return s;
}

static f4 around_at(const seen *s, int plane, int x, int y) {
  return s->around[plane][(size)(y / 2) * s->half + x / 2];
}

float doubt_around(const seen *s, int x, int y) { return around_at(s, 0, x, y)[0]; }

static float spread(float variance) {
  return __builtin_sqrtf(variance > number(LOOK_EVEN) ? variance : number(LOOK_EVEN));
}

/* Light and colours less the three sums of what is sure in a window; 0 where too little is. */
static float *differing(f4 mine, float much, f4 sums, float least_known, float *to) {
  for (int k = 0; k < 3; k++) *to++ = much > least_known ? mine[k] - sums[k] / much : 0;
  return to;
}

/* The same, how uneven what is sure there is, and how much of the window it is. */
static float *against(f4 mine, float much, f4 sums, float *to) {
  float known = number(LOOK_LEAST_AROUND);
  to = differing(mine, much, sums, known, to);
  float light = sums[0] / much;
  *to++ = much > known ? spread(sums[3] / much - light * light) : 0;
  *to++ = much;
  return to;
}

static void figures_of(const seen *s, int x, int y, float *to) {
  int at = y * picture.width + x;
  size far = (size)(y / 4) * s->quarter + x / 4;
  f4 c = colours_at(at), beside = s->beside[at], a = around_at(s, 0, x, y);
  f4 b = around_at(s, 1, x, y), f = s->far[0][far], g = s->far[1][far];
  *to++ = s->odds[at];
  *to++ = a[0];
  *to++ = a[1];
  *to++ = c[0] - beside[0];
  *to++ = spread(beside[1] - beside[0] * beside[0]);
  to = against(c, a[2], (f4){a[3], b[0], b[1], b[2]}, to);
  to = against(c, b[3], around_at(s, 2, x, y), to);
  *to++ = s->like[at][0];
  *to++ = s->like[at][2];
  *to++ = s->like[at][3];
  *to++ = s->like[at][1];
  *to++ = c[0] - s->usual;
  *to++ = f[0];
  *to++ = f[1];
  to = differing(c, f[2], (f4){f[3], g[0], g[1], 0}, number(LOOK_LEAST_FAR), to);
  *to++ = f[2];
  told_of_colours(to);
}

/* The pixels around one, row by row, itself left out. */
static void neighbours_of(const float *plane, int x, int y, float *to) {
  int reach = (int)number(LOOK_NEAR_PX) / 2;
  for (int j = -reach; j <= reach; j++) {
    const float *row = plane + (size)mirrored(y + j, picture.height) * picture.width;
    for (int i = -reach; i <= reach; i++)
      if (i || j) *to++ = row[mirrored(x + i, picture.width)];
  }
}

/* All that is seen of a pixel, held within what was learned from. */
void seen_of(const seen *s, int x, int y, float *to) {
  int side = (int)number(LOOK_NEAR_PX), neighbours = side * side - 1;
  figures_of(s, x, y, to);
  neighbours_of(s->held, x, y, to + OF_PLACE + OF_FILE);
  neighbours_of(s->lighter, x, y, to + OF_PLACE + OF_FILE + neighbours);
  const f4 *lowest = (const f4 *)rule.look_lowest.at, *highest = (const f4 *)rule.look_highest.at;
  for (int k = 0; k < LOOKED_AT / 4; k++)
    ((f4 *)to)[k] = f4_least(f4_most(((f4 *)to)[k], lowest[k]), highest[k]);
}
