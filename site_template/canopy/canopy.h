/* The grower's canopy rule for a follower's browser: what the parts share.

   Every number of the rule comes from the file that lapsekit/site/rule.py writes; its docstring
   says what stands where. Nothing here knows a threshold, a width or a weight of its own.

   Freestanding: no library. Planes are row by row; colours lie side by side, four to a pixel. */

#ifndef CANOPY_H
#define CANOPY_H

typedef unsigned char u8;
typedef unsigned short u16;
typedef unsigned int u32;
typedef __SIZE_TYPE__ size;
typedef float f4 __attribute__((vector_size(16)));
typedef int i4 __attribute__((vector_size(16)));

#define SPLAT(x) ((f4){(x), (x), (x), (x)})

static inline int least(int a, int b) { return a < b ? a : b; }
static inline int most(int a, int b) { return a > b ? a : b; }
static inline float held_within(float x, float bound) {
  return x < -bound ? -bound : x > bound ? bound : x;
}
static inline f4 f4_least(f4 a, f4 b) { return (f4)(((i4)a & (a < b)) | ((i4)b & ~(a < b))); }
static inline f4 f4_most(f4 a, f4 b) { return (f4)(((i4)a & (a > b)) | ((i4)b & ~(a > b))); }

/* From the browser, once for each entry of a table, or for each pixel of the two indices that
   need them. */
__attribute__((import_module("math"), import_name("log"))) double natural_log(double x);
__attribute__((import_module("math"), import_name("exp"))) double exponential(double x);

/* heap.c: memory taken in order and given back from the end. Takes or stops the program. */
void *take(size bytes);
size heap_mark(void);
void heap_release(size mark);

/* rule.c: the rule's numbers. Keep the order of NUMBERS in lapsekit/site/rule.py. */
enum number {
  METHOD, LEAST_LONG_SIDE_PX, SPECK_PX, HOLE_PX, INDEX_ABOVE, INDEX_SIGN,
  CIVE_RED, CIVE_GREEN, CIVE_BLUE, CIVE_OFFSET, VEG_EXPONENT,
  COM_EXG, COM_EXGR, COM_CIVE, COM_VEG, MEXG_RED, MEXG_GREEN, MEXG_BLUE,
  MARGIN_PX, STEP_PX, DARK, GREY_A, NEVER, HAND_BIAS,
  OWN_LEAF, OWN_GROUND, OWN_WEIGHT, OWN_MOST, OWN_LEAST_PX, OWN_SAMPLE_PX, OWN_RIDGE, OWN_CLIP,
  STRIP_PX, LEAST_STRIP_ROWS,
  NO_LEAF, LEAF, NETWORK, LEAST_ODDS,
  PIECE_PX, BAND_PX, FAINT_ODDS, GAP_PX, UNSURE_COLOUR, FIRM, COLOUR_VARIANCE, LEAST_VARIANCE,
  PURE_NEAR_PX, PURE_FAR_PX, PURER, LEAST_PURE_LEAF, LEAST_PURE_GROUND, LEAST_CONTRAST,
  LOOK_UNSURE, LOOK_MOST_ODDS, LOOK_SURE, LOOK_LEAST_SURE_PX, LOOK_AROUND_PX, LOOK_FAR_PX,
  LOOK_BESIDE_PX, LOOK_NEAR_PX, LOOK_LIKE_PX, LOOK_LIKE_WIDER_PX,
  LOOK_LEAST_AROUND, LOOK_LEAST_FAR, LOOK_EVEN, LOOK_COUNTED, LOOK_LOST,
  LIKE_LEVELS, LIKE_SMOOTHED, LIKE_SMOOTHED_LIGHT, LIKE_LEAST_PX, LIKE_RARE,
  NUMBERS
};

typedef struct { const float *at; int count; } list;
typedef struct { int results, channels, side; const float *weights, *biases; } layer;

enum { COLOURS, DOWN_1, DOWN_2A, DOWN_2B, DOWN_3A, DOWN_3B, DOWN_4A, DOWN_4B, NARROW_3, UP_3,
       NARROW_2, UP_2, NARROW_1, UP_1, FINE, OWN_COLOURS, ODDS, LAYERS };

/* By the second look: figures of the place itself, of the picture's file, and in all. */
enum { OF_PLACE = 26, OF_FILE = 2, LOOKED_AT = 76 };

typedef struct {
  const float *numbers;
  list linear, grid_linear, logarithms;     /* of 256 values; of the 33 of the grid of L*a*b* */
  list near_blur, half_blur, wide_blur[2], pure_blur;
  list lowest, highest, output;             /* of the perceptron */
  layer hidden, network[LAYERS];
  list told;                                /* what the two numbers of a file's colours add */
  list levels;                              /* of the 256 values, on the grid of leaf_likeness.c */
  list look_lowest, look_highest;           /* of the second look */
  layer look[3];
} rule_numbers;

extern rule_numbers rule;
static inline float number(enum number which) { return rule.numbers[which]; }

/* The share of leaf that log odds stand for. */
static inline float share_by(float odds) { return (float)(1 / (1 + exponential(-odds))); }

/* What the network is sure of, by its share of leaf. */
static inline int surely_leaf(float share) { return share > number(LOOK_SURE); }
static inline int surely_ground(float share) { return 1 - share > number(LOOK_SURE); }

/* picture.c: the picture as it is measured, three bytes a pixel. */
typedef struct { int whole_width, whole_height, by, width, height; u8 *rgb; } picture_held;
extern picture_held picture;

/* colour.c: CIE L*, a*, b* and excess green of a pixel. */
void colour_begin(void);
f4 colour_of(const u8 *rgb);

/* blur.c: weighted means of planes of four, mirrored at the border; and enlarging. */
int mirrored(int at, int count);
void blur(f4 *plane, int width, int height, list kernel);
void enlarged_row(const f4 *small, int width, int height, int by, int y, f4 *row);

/* patch.c: what the network and the perceptron are made of. */
enum { ABREAST = 3, TOGETHER = 16 };
const float *packed(const float *weights, int results, int channels, int places);
void patch(const float *const *rows, int count, int length, int step, const float *weights,
           const float *biases, f4 found[ABREAST][4]);

/* network.c, leaf_likeness.c, doubtful.c, look.c */
void network_odds(float *odds);
void told_of_colours(float two[2]);
void leaf_likeness(const float *shares, f4 *found);
typedef struct seen seen;
const seen *surroundings(const float *odds); /* 0 where too little is sure */
float doubt_around(const seen *s, int x, int y);
void seen_of(const seen *s, int x, int y, float *to);
void look_again(float *odds);

/* features.c: what the perceptron and the picture's own colours look at. */
typedef struct { int width, height; f4 *own, *near, *mean, *spread, *wide[2]; } feature_planes;
void features_begin(feature_planes *planes);
void shares_of_pixel(const u8 *rgb, float *red, float *green);

/* hands.c, own.c */
void hand_odds(const feature_planes *planes, float *odds);
void with_own_colours(const feature_planes *planes, const float *beside, float *odds);

/* tidy.c */
void clean(u8 *mask, int width, int height, int speck_px);
void grown(const u8 *mask, u8 *out, int width, int height, int reach);
void shrunk(const u8 *mask, u8 *out, int width, int height, int reach);

/* cover.c, indices.c */
void cover_of(const u8 *mask, const float *odds, float *cover);
void index_mask(u8 *mask);

#endif
