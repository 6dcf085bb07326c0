/* Published colour indices (lapsekit/vision/indices.py), for seasons that are measured by one. */

#include "canopy.h"

/* The order of INDICES in lapsekit/vision/indices.py, from 1. */
enum { EXG = 1, EXGR, CIVE, VEG, COM, MEXG, GLI, VARI, NDI, NGRDI, LAB_A };

static float logarithms[256]; /* of a channel and one step */

static float ratio(float above, float below) {
  return below > 0 ? held_within(above / below, 1) : 0;
}

static float veg(const u8 *p) {
  return logarithms[p[1]] - number(VEG_EXPONENT) * logarithms[p[0]] -
         (1 - number(VEG_EXPONENT)) * logarithms[p[2]];
}

static float combined(const u8 *p, float red, float green) {
  float blue = 1 - red - green;
  float cive = number(CIVE_RED) * red - number(CIVE_GREEN) * green + number(CIVE_BLUE) * blue;
  return number(COM_EXG) * (3 * green - 1) + number(COM_EXGR) * (4 * green - 1.4f * red - 1) +
         number(COM_CIVE) * (cive + number(CIVE_OFFSET)) +
         number(COM_VEG) * (float)exponential(held_within(veg(p), 3));
}

static float index_of(const u8 *p, int method) {
  float r = p[0], g = p[1], b = p[2], total = r + g + b;
  float red = total ? r / total : 1.0f / 3, green = total ? g / total : 1.0f / 3;
  switch (method) {
    case EXG: return 3 * green - 1;
    case EXGR: return 4 * green - 1.4f * red - 1;
    case CIVE:
      return number(CIVE_RED) * r - number(CIVE_GREEN) * g + number(CIVE_BLUE) * b +
             number(CIVE_OFFSET);
    case VEG: return veg(p);
    case COM: return combined(p, red, green);
    case MEXG: return number(MEXG_GREEN) * g - number(MEXG_RED) * r - number(MEXG_BLUE) * b;
    case GLI: return ratio(2 * g - r - b, 2 * g + r + b);
    case VARI: return ratio(g - r, g + r - b);
    case NDI:
    case NGRDI: return ratio(g - r, g + r);
    default: return -colour_of(p)[1];
  }
}

/* Otsu's threshold of a histogram: the level after which it is split. */
static int otsu(const u32 *counts, double all) {
  const double tiny = 1.1920929e-7;
  double mean = 0, below = 0, share = 0, best = 0;
  int found = 0;
  for (int i = 0; i < 256; i++) mean += i * (double)counts[i] / all;
  for (int i = 0; i < 256; i++) {
    double part = counts[i] / all;
    below *= share;
    share += part;
    double rest = 1 - share;
    if (share < tiny || rest < tiny) continue;
    below = (below + i * part) / share;
    double above = (mean - share * below) / rest;
    double apart = share * rest * (below - above) * (below - above);
    if (apart > best) { best = apart; found = i; }
  }
  return found;
}

static void split(const float *plane, int count, u8 *mask) {
  float lowest = plane[0], highest = plane[0];
  for (int i = 0; i < count; i++) {
    if (plane[i] < lowest) lowest = plane[i];
    if (plane[i] > highest) highest = plane[i];
  }
  __builtin_memset(mask, 0, (size)count);
  if (highest <= lowest) return;
  u32 counts[256];
  __builtin_memset(counts, 0, sizeof counts);
  float scale = (float)(255.0 / ((double)highest - lowest));
  for (int i = 0; i < count; i++)
    counts[mask[i] = (u8)__builtin_rintf((plane[i] - lowest) * scale)]++;
  int level = otsu(counts, count);
  for (int i = 0; i < count; i++) mask[i] = mask[i] > level;
}

/* Canopy by the rule's index, not cleaned. */
void index_mask(u8 *mask) {
  size mark = heap_mark();
  int count = picture.width * picture.height;
  float *plane = take((size)count * sizeof(float)), above = number(INDEX_ABOVE);
  for (int i = 0; i < 256; i++) logarithms[i] = (float)natural_log(i + 1);
  for (int i = 0; i < count; i++)
    plane[i] = number(INDEX_SIGN) * index_of(picture.rgb + 3 * (size)i, (int)number(METHOD));
  if (above != above) split(plane, count, mask); /* not a number: by the histogram */
  else
    for (int i = 0; i < count; i++) mask[i] = plane[i] > above;
  heap_release(mark);
}
