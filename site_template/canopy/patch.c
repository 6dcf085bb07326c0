/* Weighted sums of many numbers for three places and sixteen results at a time: as many as the
   processor's registers hold. */

#include "canopy.h"

/* Weights (results, channels, places) as they are worked through: by sixteen results, then by
   place, then by channel. */
const float *packed(const float *weights, int results, int channels, int places) {
  float *found = take((size)results * channels * places * sizeof(float)), *to = found;
  for (int block = 0; block < results; block += TOGETHER)
    for (int place = 0; place < places; place++)
      for (int channel = 0; channel < channels; channel++)
        for (int k = 0; k < TOGETHER; k++)
          *to++ = weights[((size)(block + k) * channels + channel) * places + place];
  return found;
}

/* Results of three places. `rows` are the beginnings of `count` runs of `length` numbers, `step`
   is how far the runs of the next place lie. */
void patch(const float *const *rows, int count, int length, int step, const float *weights,
           const float *biases, f4 found[ABREAST][4]) {
  const f4 *w = (const f4 *)weights, *b = (const f4 *)biases;
  f4 a0 = b[0], a1 = b[1], a2 = b[2], a3 = b[3];
  f4 b0 = a0, b1 = a1, b2 = a2, b3 = a3, c0 = a0, c1 = a1, c2 = a2, c3 = a3;
  for (int row = 0; row < count; row++) {
    const float *x = rows[row], *y = x + step, *z = y + step;
    for (int k = 0; k < length; k++, w += 4) {
      f4 p = SPLAT(x[k]), q = SPLAT(y[k]), r = SPLAT(z[k]);
      a0 += p * w[0]; b0 += q * w[0]; c0 += r * w[0];
      a1 += p * w[1]; b1 += q * w[1]; c1 += r * w[1];
      a2 += p * w[2]; b2 += q * w[2]; c2 += r * w[2];
      a3 += p * w[3]; b3 += q * w[3]; c3 += r * w[3];
    }
  }
  found[0][0] = a0; found[0][1] = a1; found[0][2] = a2; found[0][3] = a3;
  found[1][0] = b0; found[1][1] = b1; found[1][2] = b2; found[1][3] = b3;
  found[2][0] = c0; found[2][1] = c1; found[2][2] = c2; found[2][3] = c3;
}
