/* A second look at pixels of which the network is not sure (lapsekit/vision/second_look.py). */

#include "canopy.h"

/* Means over the windows, four to a pixel, and what is looked at pixel by pixel. */
typedef struct {
  f4 *around;  /* doubt, share of leaf, sure leaf, and its lightness */
  f4 *leaves;  /* of sure leaf: squared lightness, green against red, green against blue */
  f4 *beside;  /* lightness and its square */
  float *held, *lighter; /* log odds, and lightness against what is near by */
} seen;

/* Lightness, green against red, green against blue, as logarithms. */
static f4 colours_at(int at) {
  const u8 *rgb = picture.rgb + (size)at * 3;
  const float *log = rule.logarithms.at;
  float red = log[rgb[0]], green = log[rgb[1]], blue = log[rgb[2]];
  return (f4){(red + green + blue) / 3, green - red, green - blue, 0};
}

static void box_blur(f4 *plane, int side) {
  float *weights = take((size)side * sizeof(float));
  for (int k = 0; k < side; k++) weights[k] = 1.0f / (float)side;
  list kernel = {weights, side};
  blur(plane, picture.width, picture.height, kernel);
}

static seen see(const float *odds) {
  int count = picture.width * picture.height;
  seen s;
  s.held = take((size)count * sizeof(float));
  s.lighter = take((size)count * sizeof(float));
  f4 **planes[] = {&s.around, &s.leaves, &s.beside};
  for (int k = 0; k < 3; k++) *planes[k] = take((size)count * sizeof(f4));
  for (int i = 0; i < count; i++) {
    f4 c = colours_at(i);
    float share = (float)(1 / (1 + exponential(-odds[i]))), leaf = share > number(LOOK_SURE);
    s.around[i] = (f4){share * (1 - share), share, leaf, leaf * c[0]};
    s.leaves[i] = SPLAT(leaf) * (f4){c[0] * c[0], c[1], c[2], 0};
    s.beside[i] = (f4){c[0], c[0] * c[0], 0, 0};
    s.held[i] = held_within(odds[i], number(LOOK_UNSURE));
  }
  box_blur(s.around, (int)number(LOOK_AROUND_PX));
  box_blur(s.leaves, (int)number(LOOK_AROUND_PX));
  box_blur(s.beside, (int)number(LOOK_BESIDE_PX));
  for (int i = 0; i < count; i++) s.lighter[i] = colours_at(i)[0] - s.beside[i][0];
  return s;
}

static float spread(float variance) {
  return __builtin_sqrtf(variance > number(LOOK_EVEN) ? variance : number(LOOK_EVEN));
}

static void figures_of(const seen *s, const float *odds, int at, float *to) {
  f4 c = colours_at(at), around = s->around[at], beside = s->beside[at];
  float least_leaf = number(LOOK_LEAST_LEAF), leafy = around[2];
  int known = leafy > least_leaf;
  f4 leaves = s->leaves[at] / SPLAT(known ? leafy : least_leaf);
  float light = around[3] / (known ? leafy : least_leaf);
  *to++ = odds[at];
  *to++ = around[0];
  *to++ = around[1];
  *to++ = known ? c[0] - light : 0;
  *to++ = known ? c[1] - leaves[1] : 0;
  *to++ = known ? c[2] - leaves[2] : 0;
  *to++ = s->lighter[at];
  *to++ = spread(beside[1] - beside[0] * beside[0]);
  *to++ = known ? spread(leaves[0] - light * light) : 0;
  *to++ = leafy;
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

static void gather(const seen *s, const float *odds, int x, int y, float *to) {
  int side = (int)number(LOOK_NEAR_PX), neighbours = side * side - 1;
  figures_of(s, odds, y * picture.width + x, to);
  neighbours_of(s->held, x, y, to + OF_PLACE);
  neighbours_of(s->lighter, x, y, to + OF_PLACE + neighbours);
  const f4 *lowest = (const f4 *)rule.look_lowest.at, *highest = (const f4 *)rule.look_highest.at;
  for (int k = 0; k < LOOKED_AT / 4; k++)
    ((f4 *)to)[k] = f4_least(f4_most(((f4 *)to)[k], lowest[k]), highest[k]);
}

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
  seen s = see(odds);
  __builtin_memcpy(found, odds, (size)count * sizeof(float));
  for (int y = 0; y < picture.height; y++) {
    int doubtful = 0;
    for (int x = 0; x < width; x++) {
      float here = odds[(size)y * width + x];
      if (here > -number(LOOK_UNSURE) && here < number(LOOK_UNSURE)) places[doubtful++] = x;
    }
    for (int i = 0; i < doubtful; i++)
      gather(&s, odds, places[i], y, gathered + (size)i * LOOKED_AT);
    for (int i = 0; i < doubtful; i += ABREAST) {
      hidden(first, gathered + (size)i * LOOKED_AT, units);
      hidden(second, units, more);
      for (int k = 0; k < ABREAST && i + k < doubtful; k++) {
        size at = (size)y * width + places[i + k];
        found[at] += moved(more + (size)k * second->results) * counted(s.around[at][0]);
      }
    }
  }
  __builtin_memcpy(odds, found, (size)count * sizeof(float));
  heap_release(mark);
}
