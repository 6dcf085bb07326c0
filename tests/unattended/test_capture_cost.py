"""The short form of tests/bench/capture_cost.py; that one prints the numbers."""

import subprocess
import sys

import pytest

from tests.bench.capture_cost import MOST_GROWTH_MB, MOST_MS, measured, twelve_megapixels
from tests.scenes import bench_picture, encoded


def test_filing_a_large_picture_costs_little_processor_time(tmp_path):
    data = twelve_megapixels()
    assert len(data) > 3e6
    assert measured(tmp_path, data, 20, warm_up=3)["median_ms"] < MOST_MS


def test_memory_stays_flat_over_captures(tmp_path):
    """In a process of its own, since other tests leave memory behind."""
    (tmp_path / "x.jpg").write_bytes(encoded(bench_picture([]), "JPEG"))
    (tmp_path / "season").mkdir()
    code = (
        "from pathlib import Path; from tests.bench.capture_cost import measured; "
        f"d = Path({str(tmp_path)!r}); "
        "print(measured(d / 'season', (d / 'x.jpg').read_bytes(), 400)['growth_mb'])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert float(done.stdout) < MOST_GROWTH_MB


@pytest.mark.parametrize("privacy", [False, True])
def test_the_parent_decodes_nothing_even_with_privacy_areas(tmp_path, privacy, monkeypatch):
    """Blacking out happens in a child: this process loads no pixels either way."""
    from PIL import ImageFile

    def refuse(self):
        raise AssertionError("decoded in the capture process")

    data = encoded(bench_picture([]), "JPEG")
    monkeypatch.setattr(ImageFile.ImageFile, "load", refuse)
    measured(tmp_path, data, 2, privacy, warm_up=1)
