/* What the picture's own leaves and its own ground look like (lapsekit/vision/own_colours.py):
   a linear discriminant learned from pixels of which the models are sure. */

#include "canopy.h"

enum { KINDS = 2, FEATURES = 11, ROOM = 12 };

typedef struct { float (*of)[ROOM]; int count, room, step; } samples;

/* A pixel's own colours, the shares of red and green, its near mean, and the other model's word. */
static void features_of(const feature_planes *p, const float *beside, int x, int y, float *to) {
  size at = (size)y * p->width + x, inside = (size)y * picture.width + x;
  for (int k = 0; k < 4; k++) to[k] = p->own[at][k];
  for (int k = 0; k < 4; k++) to[4 + k] = p->near[at][k];
  shares_of_pixel(picture.rgb + inside * 3, &to[8], &to[9]);
  to[10] = held_within(beside[inside], number(OWN_MOST));
  to[11] = 0;
}

static int strip_rows(void) {
  int rows = most((int)number(LEAST_STRIP_ROWS), (int)number(STRIP_PX) / picture.width);
  return (rows + 3) / 4 * 4;
}

static int kind_of(float odds) {
  return odds > number(OWN_LEAF) ? 0 : odds < number(OWN_GROUND) ? 1 : -1;
}

static void count_sure(const float *odds, int counts[KINDS]) {
  counts[0] = counts[1] = 0;
  for (int i = 0; i < picture.width * picture.height; i++) {
    int kind = kind_of(odds[i]);
    if (kind >= 0) counts[kind]++;
  }
}

/* Every so many of the sure pixels of a strip, of each kind. */
static void collect(const feature_planes *p, const float *odds, const float *beside,
                    samples of[KINDS]) {
  int rows = strip_rows(), passed[KINDS] = {0, 0};
  for (int y = 0; y < picture.height; y++) {
    if (y % rows == 0) passed[0] = passed[1] = 0;
    for (int x = 0; x < picture.width; x++) {
      int kind = kind_of(odds[(size)y * picture.width + x]);
      if (kind < 0 || passed[kind]++ % of[kind].step || of[kind].count == of[kind].room) continue;
      features_of(p, beside, x, y, of[kind].of[of[kind].count++]);
    }
  }
}

typedef struct {
  double middle[FEATURES], spread[FEATURES], means[KINDS][FEATURES];
  double within[FEATURES][FEATURES + 1]; /* and the difference of the means beside it */
} figures;

static void standardise(const samples of[KINDS], figures *f) {
  int count = of[0].count + of[1].count;
  for (int k = 0; k < FEATURES; k++) {
    double sum = 0, squares = 0;
    for (int kind = 0; kind < KINDS; kind++)
      for (int i = 0; i < of[kind].count; i++) sum += of[kind].of[i][k];
    f->middle[k] = sum / count;
    for (int kind = 0; kind < KINDS; kind++)
      for (int i = 0; i < of[kind].count; i++) {
        double away = of[kind].of[i][k] - f->middle[k];
        squares += away * away;
      }
    f->spread[k] = __builtin_sqrt(squares / count) + 1e-3;
  }
}

static double standard(const samples *of, int i, int k, const figures *f) {
  double found = (of->of[i][k] - f->middle[k]) / f->spread[k], clip = number(OWN_CLIP);
  return found < -clip ? -clip : found > clip ? clip : found;
}

/* Means of a kind, and half its covariance added to what is there. */
static void add_kind(const samples *of, double *means, figures *f) {
  for (int k = 0; k < FEATURES; k++) {
    means[k] = 0;
    for (int i = 0; i < of->count; i++) means[k] += standard(of, i, k, f);
    means[k] /= of->count;
  }
  for (int i = 0; i < of->count; i++) {
    double away[FEATURES];
    for (int k = 0; k < FEATURES; k++) away[k] = standard(of, i, k, f) - means[k];
    for (int k = 0; k < FEATURES; k++)
      for (int j = 0; j < FEATURES; j++)
        f->within[k][j] += away[k] * away[j] / (2.0 * (of->count - 1));
  }
}

static double absolute(double x) { return x < 0 ? -x : x; }

/* Solves within · weights = difference by elimination; the weights stand in its last column. */
static void solve(double m[FEATURES][FEATURES + 1]) {
  for (int k = 0; k < FEATURES; k++) {
    int best = k;
    for (int i = k + 1; i < FEATURES; i++)
      if (absolute(m[i][k]) > absolute(m[best][k])) best = i;
    for (int j = 0; j <= FEATURES; j++) {
      double held = m[k][j];
      m[k][j] = m[best][j];
      m[best][j] = held;
    }
    for (int i = 0; i < FEATURES; i++) {
      double factor = i == k ? 0 : m[i][k] / m[k][k];
      for (int j = k; j <= FEATURES; j++) m[i][j] -= factor * m[k][j];
    }
  }
  for (int k = 0; k < FEATURES; k++) m[k][FEATURES] /= m[k][k];
}

static void learn(const samples of[KINDS], figures *f) {
  __builtin_memset(f, 0, sizeof *f);
  standardise(of, f);
  for (int kind = 0; kind < KINDS; kind++) add_kind(&of[kind], f->means[kind], f);
  for (int k = 0; k < FEATURES; k++) {
    f->within[k][k] += number(OWN_RIDGE);
    f->within[k][FEATURES] = f->means[0][k] - f->means[1][k];
  }
  solve(f->within);
}

/* The picture's own word mixed into the odds. */
static void mix(const feature_planes *p, const float *beside, const figures *f, float prior,
                float *odds) {
  float weights[FEATURES], middle[FEATURES], spread[FEATURES], of[ROOM];
  double offset = prior;
  for (int k = 0; k < FEATURES; k++) {
    weights[k] = (float)f->within[k][FEATURES];
    middle[k] = (float)f->middle[k];
    spread[k] = (float)f->spread[k];
    offset -= f->within[k][FEATURES] * (f->means[0][k] + f->means[1][k]) / 2;
  }
  for (int y = 0; y < picture.height; y++)
    for (int x = 0; x < picture.width; x++) {
      float own = (float)offset, *at = odds + (size)y * picture.width + x;
      features_of(p, beside, x, y, of);
      for (int k = 0; k < FEATURES; k++)
        own += weights[k] * held_within((of[k] - middle[k]) / spread[k], number(OWN_CLIP));
      *at += number(OWN_WEIGHT) * (held_within(own, number(OWN_MOST)) - *at);
    }
}

void with_own_colours(const feature_planes *p, const float *beside, float *odds) {
  int counts[KINDS], rows = strip_rows();
  for (int i = 0; i < picture.width * picture.height; i++)
    odds[i] = held_within(odds[i], number(OWN_MOST));
  count_sure(odds, counts);
  if (least(counts[0], counts[1]) < number(OWN_LEAST_PX)) return;
  size mark = heap_mark();
  samples of[KINDS];
  for (int kind = 0; kind < KINDS; kind++) {
    of[kind].step = most(1, counts[kind] / (int)number(OWN_SAMPLE_PX));
    of[kind].room = counts[kind] / of[kind].step + picture.height / rows + 2;
    of[kind].count = 0;
    of[kind].of = take((size)of[kind].room * sizeof *of[kind].of);
  }
  figures *f = take(sizeof *f);
  collect(p, odds, beside, of);
  learn(of, f);
  mix(p, beside, f, (float)natural_log((double)counts[0] / counts[1]), odds);
  heap_release(mark);
}
