"""The fast path: the same definition by numpy, by the standard library and for many rows at once."""

from __future__ import annotations

import array
import math
import subprocess
import sys

import numpy as np
import pytest

from meterlink.photometry import flash


def codes_of(samples=4000, noise=8.0, seed=1, tau=0.1):
    """Codes of a double exponential in a record of one second."""
    time = (np.arange(samples) - samples // 10) / samples
    rise = np.where(time > 0, (1 - np.exp(-np.clip(time, 0, 1) / 0.01)) * np.exp(-np.clip(time, 0, 1) / tau), 0)
    noisy = rise / rise.max() * 3200 + 60 + np.random.default_rng(seed).normal(0, noise, samples)
    return np.clip(np.round(noisy), 0, 4095).astype(np.uint16)


def test_numpy_and_standard_library_agree():
    """An array, a list and an ``array`` of the same codes give the same four numbers."""
    codes = codes_of()
    expected = flash.measure(codes, 2.0, 1 / 4000)

    assert flash.measure(codes.tolist(), 2.0, 1 / 4000) == pytest.approx(expected, rel=1e-12)
    assert flash.measure(array.array("H", codes.tolist()), 2.0, 1 / 4000) == pytest.approx(expected, rel=1e-12)


def test_bytes_and_bytes_array_agree():
    """8-bit codes as bytes and as an array give the same numbers."""
    codes = (codes_of() >> 4).astype(np.uint8)

    assert flash.measure(codes.tobytes(), 2.0, 1e-4) == pytest.approx(flash.measure(codes, 2.0, 1e-4), rel=1e-12)


@pytest.mark.parametrize("full", [255, 1023, 4095, 32767, 65535])
def test_every_width_of_code_agrees_with_numpy(full):
    """Codes of 8 to 16 bits in random noise give the same from an ``array``, a list and (8 bits) bytes as from numpy."""
    rng = np.random.default_rng(full)
    for length in (20, 333, 3000):
        time = np.arange(length) - length // 5
        light = np.where(time > 0, np.exp(-np.clip(time, 0, None) / (length / 9)), 0) * full * 0.9 + 0.05 * full
        noisy = np.round(light + rng.normal(0, 0.03 * full, length))
        codes = np.clip(noisy, 0, full).astype(np.uint8 if full == 255 else np.uint16)
        expected = flash.measure(codes, 2.0, 1e-3)
        forms = [codes.tolist(), array.array(codes.dtype.char, codes.tolist())]
        for form in [*forms, codes.tobytes(), bytearray(codes.tobytes())] if full == 255 else forms:
            assert flash.measure(form, 2.0, 1e-3) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("samples", [4000, 60_000])
def test_arrays_of_every_layout_agree_with_a_list(samples):
    """Arrays in the other byte order, off their alignment, with gaps, wide or of floats give what a list of the codes gives."""
    codes = codes_of(samples)
    expected = flash.measure(codes.tolist(), 2.0, 1e-4)
    shifted = np.ndarray(codes.shape, codes.dtype, b"x" + codes.tobytes(), 1)
    layouts = [codes, codes.astype(">u2"), codes.astype("<u2"), shifted, np.repeat(codes, 3)[::3], codes.astype(np.int64)]

    for layout in [*layouts, codes.astype(np.uint64), codes.astype(np.float64), codes.astype(">f4")]:
        assert flash.measure(layout, 2.0, 1e-4) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("samples", [200, 60_000])
def test_a_pulse_at_the_edge_of_its_record_is_measured_to_the_edge(samples):
    """A pulse that ends with the record, or whose half is as wide as its tenth, gives the same from an array as from a list."""
    codes = np.full(samples, 50, np.uint16)
    codes[samples // 2 :] = 900
    block = np.full(samples, 50, np.uint16)
    block[samples // 2 : samples // 2 + 20] = 900

    assert flash.measure(codes, 1.0, 1.0).t05_s == pytest.approx(samples - samples // 2 - 1 + 0.5)
    for wave in (codes, block):
        assert flash.measure(wave, 1.0, 1.0) == pytest.approx(flash.measure(wave.tolist(), 1.0, 1.0), rel=1e-12)


def test_rows_agree_with_single_records():
    """Every row of a batch gives what it gives alone, and a row without a pulse gives nan."""
    rows = np.stack([codes_of(seed=seed, tau=0.05 + 0.01 * seed) for seed in range(6)] + [np.full(4000, 60, np.uint16)])

    many = flash.measure_many(rows, 2.0, 1 / 4000)

    for k in range(6):
        assert [column[k] for column in many] == pytest.approx(flash.measure(rows[k], 2.0, 1 / 4000), rel=1e-12)
    assert all(math.isnan(column[6]) for column in many[:4])


def test_careful_and_fast_agree_on_a_clean_pulse():
    """On one clean pulse the plain numbers are within the noise of the careful ones."""
    codes = codes_of(noise=3.0)
    plain, careful = flash.measure(codes, 1.0, 1 / 4000), flash.analyse_counts(codes, 1.0, 1 / 4000)

    assert plain.exposure_lxs == pytest.approx(careful.exposure_lxs, rel=0.01)
    assert plain.t05_s == pytest.approx(careful.t05_s, rel=0.01)
    assert plain.t01_s == pytest.approx(careful.t01_s, rel=0.02)


def test_mean_of_crossings_is_not_biased_by_noise():
    """With noise the mean of nearest and outermost crossing stays within 1 % where either alone is off by more."""
    results = [flash.measure(codes_of(100_000, 10.0, seed), 1.0, 1e-5).t01_s for seed in range(5)]
    exact = flash.measure(codes_of(100_000, 0.0), 1.0, 1e-5).t01_s

    assert np.mean(results) == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize(
    ("codes", "interval", "words"),
    [
        ([], 1e-5, "samples"),
        ([5] * 50, 1e-5, "no pulse"),
        (np.full(50, 5, np.uint8), 1e-5, "no pulse"),
        (np.zeros((3, 50), np.uint8), 1e-5, "one row|samples"),
        ([1, 2, 3, 4, 5], 0.0, "positive"),
        ([1.0, math.nan] * 9, 1e-5, "not numbers|no pulse"),
        (np.array([1.0, math.nan] * 9), 1e-5, "not numbers"),
    ],
)
def test_bad_codes_are_refused(codes, interval, words):
    """Empty, flat, two-dimensional and non-finite codes raise ValueError."""
    with pytest.raises(ValueError, match=words):
        flash.measure(codes, 1.0, interval)


def test_batches_need_rows_of_integers():
    """A batch that is not a 2-D array of integers is refused."""
    for codes in (np.zeros(50, np.uint8), np.zeros((3, 50)), np.zeros((0, 50), np.uint8), [[1, 2, 3]]):
        with pytest.raises(ValueError, match="2-D array"):
            flash.measure_many(codes, 1.0, 1e-5)
    with pytest.raises(ValueError, match="pretrigger"):
        flash.measure(codes_of(), 1.0, 1e-5, pretrigger=4000)


def test_standard_library_path_imports_no_numpy():
    """Measuring a list leaves numpy unimported, so a one-shot command stays quick."""
    code = (
        "import sys; before = set(sys.modules); from meterlink.photometry import flash;"
        "flash.measure([0]*20+[100,80,50,20,5]+[0]*20, 1.0, 1e-5); print({'numpy'} & (set(sys.modules) - before))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "set()"


def test_an_infinite_sample_is_refused_wherever_it_stands() -> None:
    """Minus infinity before or after the pop makes no exposure of minus infinity."""
    for at in (1, 5, 20):
        light = np.zeros(40, np.float32)
        light[10:14], light[at] = 100.0, -np.inf
        with pytest.raises(ValueError, match="not numbers"):
            flash.measure(light, 1.0, 1e-5)


def test_a_level_record_is_steady_light_whatever_its_rounding() -> None:
    """The mean of equal floats may be off in its last digit: that is no pulse, and nothing is divided by it."""
    found = flash.analyse(np.full(40, 737191.5808944168), 1e-5)

    assert found.kind == "steady"
    assert found.ambient_lx == pytest.approx(737191.5808944168)
