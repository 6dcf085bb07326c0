/* Memory taken in order, and given back from the end. */

#include "canopy.h"

extern u8 __heap_base;
static size next;

enum { PAGE = 65536 };

size heap_mark(void) {
  if (!next) next = ((size)&__heap_base + 15) & ~(size)15;
  return next;
}

void heap_release(size mark) { next = mark; }

void *take(size bytes) {
  size start = heap_mark(), end = start + ((bytes + 15) & ~(size)15);
  size have = __builtin_wasm_memory_size(0);
  size pages = (end + PAGE - 1) / PAGE;
  if (end < start) __builtin_trap();
  if (pages > have && __builtin_wasm_memory_grow(0, pages - have) == (size)-1) __builtin_trap();
  next = end;
  return (void *)start;
}
