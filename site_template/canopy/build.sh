#!/bin/sh
# Compiles canopy.wasm again (Debian: apt-get install clang lld). Say where to with the first
# argument; the program in the repository is replaced without one.
set -eu
cd "$(dirname "$0")"
clang --target=wasm32 -std=c11 -O3 -msimd128 -mbulk-memory -ffreestanding -nostdlib \
  -fno-math-errno -ffp-contract=off -Wall -Wextra -Werror \
  -Wl,--no-entry -Wl,--strip-all -Wl,-z,stack-size=131072 \
  -o "${1:-canopy.wasm}" ./*.c
