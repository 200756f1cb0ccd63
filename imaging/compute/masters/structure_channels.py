"""Structure that modalities share, and how far it is shifted between two small patches."""

import functools
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["ChannelShift", "channel_shift", "structure_channels"]

_FloatImage = NDArray[np.float32]

_ORIENTATIONS = 6
_WAVELENGTH_PX = 7.0
# Ratio of the standard deviation to the middle frequency of a log-Gabor filter.
_BANDWIDTH = 0.55
_NORMALISING_SIGMA_PX = 10.0
# Part of the usual amplitude below which there is only noise to be lifted.
_FLOOR = 0.3
_CLIP = 4.0
# 0 leaves a blurred peak, 1 gives noise peaks.
_WHITENING = 0.5
_LOW_PASS_CYCLES = 0.28
_PEAK_RADIUS_PX = 6


@dataclass(frozen=True)
class ChannelShift:
    """Shift of a patch in its own pixels, and how far its peak stands out."""

    dx_px: float
    dy_px: float
    peak_ratio: float


def structure_channels(pixels: NDArray[Any]) -> _FloatImage:
    """Return the amplitude of structure in six directions, blind to brightness and contrast.

    Parameters
    ----------
    pixels : (rows, columns) array
        One band of any number type.

    Returns
    -------
    channels : (6, rows, columns) float32 array, 0 to 4
        Normalised by the mean amplitude around.

    Notes
    -----
    Log-Gabor filters: Field 1987, DOI 10.1364/JOSAA.4.002379. One half-plane each, so that the
    amplitude peaks on a line, an edge and a slope alike. Memory: ten times the picture in
    float32.
    """
    grey = pixels.astype(np.float32)
    low, high = np.percentile(grey, (0.5, 99.5))
    grey = np.clip(grey, np.float32(low), np.float32(high))
    grey -= grey.mean(dtype=np.float64).astype(np.float32)
    height, width = grey.shape
    padded_height, padded_width = (cv2.getOptimalDFTSize(side + 32) for side in (height, width))
    padded = cv2.copyMakeBorder(grey, 0, padded_height - height, 0, padded_width - width, cv2.BORDER_REFLECT)
    spectrum = np.fft.fft2(padded)
    channels = np.empty((_ORIENTATIONS, height, width), np.float32)
    for index in range(_ORIENTATIONS):
        filtered = np.fft.ifft2(spectrum * _log_gabor((padded_height, padded_width), index))
        channels[index] = np.abs(filtered)[:height, :width]
    mean = cv2.GaussianBlur(channels.mean(axis=0), (0, 0), _NORMALISING_SIGMA_PX)
    mean += np.float32(_FLOOR * float(np.median(mean)) + 1e-12)
    channels /= mean
    np.minimum(channels, np.float32(_CLIP), out=channels)
    return channels


def channel_shift(reference: _FloatImage, moving: _FloatImage, *, radius_px: int) -> ChannelShift | None:
    """Return how far the structure of a patch is shifted, None if nothing correlates.

    Parameters
    ----------
    reference, moving : (channels, n, n) float32 array
        The same window of both.
    radius_px : int, px
        Largest shift looked for, at most half of n.

    Returns
    -------
    shift : ChannelShift or None
        Content of moving minus that of reference.

    Notes
    -----
    The cross spectra of all channels are added, so that their peaks add and their noise does
    not; partly whitened phase correlation after Kuglin and Hines (1975).
    """
    size = reference.shape[-1]
    window = _window(size)
    one, other = (np.fft.rfft2((each - each.mean(axis=(1, 2), keepdims=True)) * window) for each in (reference, moving))
    cross = (other * one.conj()).sum(axis=0)
    strength = np.abs(cross)
    if not strength.max() > 0:
        return None
    cross = cross * _low_pass(size) / np.maximum(strength, strength.max() * 1e-9) ** _WHITENING
    surface = np.fft.fftshift(np.fft.irfft2(cross, (size, size)))
    middle = size // 2
    near = surface[middle - radius_px : middle + radius_px + 1, middle - radius_px : middle + radius_px + 1]
    row, column = (int(each) for each in np.unravel_index(np.argmax(near), near.shape))
    rim = 2 * radius_px
    if not (0 < row < rim and 0 < column < rim):
        return None
    others = near.copy()
    others[
        max(0, row - _PEAK_RADIUS_PX) : row + _PEAK_RADIUS_PX + 1,
        max(0, column - _PEAK_RADIUS_PX) : column + _PEAK_RADIUS_PX + 1,
    ] = -np.inf
    second = max(float(others.max()), 1e-9 * float(near[row, column]))
    return ChannelShift(
        dx_px=column - radius_px + _parabola(near[row, column - 1 : column + 2]),
        dy_px=row - radius_px + _parabola(near[row - 1 : row + 2, column]),
        peak_ratio=float(near[row, column]) / second,
    )


def _parabola(three: NDArray[Any]) -> float:
    before, at, after = (float(each) for each in three)
    curvature = before - 2.0 * at + after
    return 0.5 * (before - after) / curvature if curvature < 0 else 0.0


@functools.lru_cache(maxsize=4 * _ORIENTATIONS)
def _log_gabor(shape: tuple[int, int], index: int) -> _FloatImage:
    y = np.fft.fftfreq(shape[0])[:, None]
    x = np.fft.fftfreq(shape[1])[None, :]
    frequency = np.hypot(x, y)
    frequency[0, 0] = 1.0
    radial = np.exp(-(np.log(frequency * _WAVELENGTH_PX) ** 2) / (2 * np.log(_BANDWIDTH) ** 2))
    radial[0, 0] = 0.0
    angle = np.pi * index / _ORIENTATIONS
    away = np.angle(np.exp(1j * (np.arctan2(y, x) - angle)))
    angular = np.exp(-(away**2) / (2 * (np.pi / _ORIENTATIONS / 1.5) ** 2))
    return np.asarray(radial * angular, np.float32)


@functools.lru_cache(maxsize=4)
def _window(size: int) -> _FloatImage:
    line = np.hanning(size + 1)[:size]
    return np.asarray(np.outer(line, line), np.float32)


@functools.lru_cache(maxsize=4)
def _low_pass(size: int) -> _FloatImage:
    y = np.fft.fftfreq(size)[:, None]
    x = np.fft.rfftfreq(size)[None, :]
    return np.asarray(np.exp(-((np.hypot(x, y) / _LOW_PASS_CYCLES) ** 4)), np.float32)
