/* Reads the rule: lists of numbers, each told by its kind, its length and then its content. */

#include "canopy.h"

rule_numbers rule;

enum { PLAIN = 1, HALF = 2 };

static const u8 *here, *end;
static int broken;

static float from_half(u16 bits) {
  union { u32 bits; float number; } whole;
  u32 sign = (u32)(bits & 0x8000) << 16, power = bits >> 10 & 31, part = bits & 1023;
  if (power == 0) {
    float small = (float)part / 16777216.0f;
    return sign ? -small : small;
  }
  whole.bits = sign | (power + 112) << 23 | part << 13;
  return whole.number;
}

/* The next list; `wanted` numbers, or as many as there are if that is 0. */
static list next_list(int wanted) {
  list none = {0, 0};
  if (broken || end - here < 8) { broken = 1; return none; }
  u32 kind = ((const u32 *)here)[0], count = ((const u32 *)here)[1];
  size bytes = ((size)count * (kind == HALF ? 2 : 4) + 3) & ~(size)3;
  if ((kind != PLAIN && kind != HALF) || count > (1u << 24) || (size)(end - here) - 8 < bytes ||
      (wanted && (int)count != wanted)) {
    broken = 1;
    return none;
  }
  const void *content = here + 8;
  here += 8 + bytes;
  list found = {content, (int)count};
  if (kind == HALF) {
    float *numbers = take(count * sizeof(float));
    for (u32 i = 0; i < count; i++) numbers[i] = from_half(((const u16 *)content)[i]);
    found.at = numbers;
  }
  return found;
}

static layer next_layer(void) {
  layer none = {0, 0, 0, 0, 0};
  list shape = next_list(3);
  if (broken) return none;
  int results = (int)shape.at[0], channels = (int)shape.at[1], side = (int)shape.at[2];
  list weights = next_list(results * channels * side * side), biases = next_list(results);
  layer found = {results, channels, side, weights.at, biases.at};
  return found;
}

/* Layers are worked through sixteen results at a time, and fit one another. */
static int layers_fit(void) {
  const layer *n = rule.network;
  static const u8 before[][2] = {
    {DOWN_1, COLOURS}, {DOWN_2A, DOWN_1}, {DOWN_2B, DOWN_2A}, {DOWN_3A, DOWN_2B},
    {DOWN_3B, DOWN_3A}, {DOWN_4A, DOWN_3B}, {DOWN_4B, DOWN_4A}, {NARROW_3, DOWN_4B},
    {UP_3, NARROW_3}, {NARROW_2, UP_3}, {UP_2, NARROW_2}, {NARROW_1, UP_2}, {UP_1, NARROW_1},
    {FINE, UP_1}, {OWN_COLOURS, COLOURS}, {ODDS, FINE}};
  static const u8 alike[][2] = {{NARROW_3, DOWN_3B}, {NARROW_2, DOWN_2B}, {NARROW_1, DOWN_1},
                                {OWN_COLOURS, FINE}};
  for (int i = 0; i < (int)sizeof before / 2; i++)
    if (n[before[i][0]].channels != n[before[i][1]].results) return 0;
  for (int i = 0; i < (int)sizeof alike / 2; i++)
    if (n[alike[i][0]].results != n[alike[i][1]].results) return 0;
  for (int i = 0; i < LAYERS; i++) {
    int side = i == COLOURS ? 2 : i == DOWN_1 || (i >= DOWN_2A && i <= DOWN_4B) || i == UP_3 ||
                                          i == UP_2 || i == UP_1 ? 3 : 1;
    if (n[i].side != side || (i != ODDS && n[i].results % TOGETHER)) return 0;
  }
  return n[COLOURS].channels == 3 && n[ODDS].results == 4 && rule.hidden.channels == 24 &&
         rule.hidden.side == 1 && rule.hidden.results % TOGETHER == 0;
}

/* Its hidden layers are worked through sixteen results at a time too. */
static int look_fits(void) {
  const layer *l = rule.look;
  for (int i = 0; i < 3; i++)
    if (l[i].side != 1 || l[i].channels != (i ? l[i - 1].results : LOOKED_AT) ||
        (i < 2 ? l[i].results % TOGETHER != 0 : l[i].results != 1))
      return 0;
  for (int i = 0; i < 256; i++)
    if (!(rule.levels.at[i] >= 0 && rule.levels.at[i] < number(LIKE_LEVELS))) return 0;
  int side = (int)number(LOOK_NEAR_PX);
  return OF_PLACE + OF_FILE + 2 * (side * side - 1) == LOOKED_AT;
}

static void read_model(void) {
  rule.logarithms = next_list(256);
  rule.near_blur = next_list(0);
  rule.half_blur = next_list(0);
  rule.wide_blur[0] = next_list(0);
  rule.wide_blur[1] = next_list(0);
  rule.pure_blur = next_list(0);
  rule.lowest = next_list(24);
  rule.highest = next_list(24);
  rule.hidden = next_layer();
  rule.output = next_list(broken ? 0 : rule.hidden.results);
  for (int i = 0; i < LAYERS; i++) rule.network[i] = next_layer();
  rule.told = next_list(broken ? 0 : 2 * rule.network[COLOURS].results);
  rule.levels = next_list(256);
  rule.look_lowest = next_list(LOOKED_AT);
  rule.look_highest = next_list(LOOKED_AT);
  for (int i = 0; i < 3; i++) rule.look[i] = next_layer();
  if (broken || !layers_fit() || !look_fits()) { broken = 1; return; }
  rule.hidden.weights = packed(rule.hidden.weights, rule.hidden.results, 24, 1);
  for (int i = 0; i < 2; i++) {
    layer *one = &rule.look[i];
    one->weights = packed(one->weights, one->results, one->channels, 1);
  }
  for (int i = 0; i < LAYERS; i++) {
    layer *one = &rule.network[i];
    if (i != ODDS)
      one->weights = packed(one->weights, one->results, one->channels, one->side * one->side);
  }
}

static u8 *content;
static size room;

__attribute__((export_name("rule_space"))) u8 *rule_space(size bytes) {
  room = bytes;
  return content = take(bytes);
}

/* Reads what was put into `rule_space`; 0 if it can be used. */
__attribute__((export_name("rule_read"))) int rule_read(void) {
  here = content;
  end = content + room;
  broken = 0;
  rule.numbers = next_list(NUMBERS).at;
  rule.linear = next_list(256);
  rule.grid_linear = next_list(33);
  if (broken) return 1;
  colour_begin();
  if (number(METHOD) == 0) read_model();
  return broken || here != end;
}
