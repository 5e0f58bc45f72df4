"""Large characters, to be read from two metres, drawn from blocks at any whole scale.

Each character is a bitmap of five rows. A pixel is as many cells wide and as many half-rows high as
the scale: 1 gives characters of 3 rows, 2 of 5, 3 of 8, 4 of 10. `a b c d` are pixels whose outer
corner is rounded off: upper left, upper right, lower left, lower right.
"""

from __future__ import annotations

from functools import lru_cache

_BITMAPS = {
    "0": ("a#b", "#.#", "#.#", "#.#", "c#d"),
    "1": ("##.", ".#.", ".#.", ".#.", "###"),
    "2": ("##b", "..#", "a#d", "#..", "###"),
    "3": ("##b", "..#", ".##", "..#", "##d"),
    "4": ("#.#", "#.#", "c##", "..#", "..#"),
    "5": ("###", "#..", "##b", "..#", "##d"),
    "6": ("a##", "#..", "##b", "#.#", "c#d"),
    "7": ("##b", "..#", "..#", "..#", "..#"),
    "8": ("a#b", "#.#", "###", "#.#", "c#d"),
    "9": ("a#b", "#.#", "c##", "..#", "##d"),
    "-": ("..", "..", "##", "..", ".."),
    ".": (".", ".", ".", ".", "#"),
    " ": ("...",) * 5,
    "≥": ("##.", ".##", "##.", "...", "###"),
    "≤": (".##", "##.", ".##", "...", "###"),
    "A": ("a#b", "#.#", "###", "#.#", "#.#"),
    "C": ("a##", "#..", "#..", "#..", "c##"),
    "D": ("##b", "#.#", "#.#", "#.#", "##d"),
    "E": ("###", "#..", "##.", "#..", "###"),
    "F": ("###", "#..", "##.", "#..", "#.."),
    "G": ("a##", "#..", "#.#", "#.#", "c##"),
    "H": ("#.#", "#.#", "###", "#.#", "#.#"),
    "I": ("#",) * 5,
    "L": ("#..", "#..", "#..", "#..", "###"),
    "N": ("#..#", "##.#", "#.##", "#..#", "#..#"),
    "O": ("a#b", "#.#", "#.#", "#.#", "c#d"),
    "R": ("##b", "#.#", "##d", "#.#", "#.#"),
    "S": ("a##", "#..", "c#b", "..#", "##d"),
    "T": ("###", ".#.", ".#.", ".#.", ".#."),
}

_QUADRANTS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
"""By bits: 1 upper left, 2 upper right, 4 lower left, 8 lower right."""


def rows_of(scale: int) -> int:
    """Return the rows that characters of a scale take."""
    return (5 * scale + 1) // 2


def width_of(text: str, scale: int) -> int:
    """Return the cells that large text takes."""
    return scale * (sum(len(_BITMAPS[mark][0]) for mark in text) + max(len(text) - 1, 0))


def largest_scale(text: str, *, width: int, scale: int) -> int:
    """Return the largest scale, at most `scale`, at which text fits; 0 where none does."""
    while scale and width_of(text, scale) > width:
        scale -= 1
    return scale


@lru_cache(maxsize=256)
def large(text: str, scale: int) -> tuple[str, ...]:
    """Return large text as rows of block characters, all `width_of(text, scale)` cells wide."""
    return tuple(
        (" " * scale).join(parts)
        for parts in zip(*(_draw(mark, scale) for mark in text), strict=True)
    )


@lru_cache(maxsize=256)
def _draw(mark: str, scale: int) -> tuple[str, ...]:
    bitmap = _BITMAPS[mark]
    columns = 2 * scale * len(bitmap[0])
    rows = 2 * rows_of(scale)
    # One more pixel row of nothing where five rows of pixels are an odd number of half-rows.
    dots = [[_is_set(bitmap, x, y, scale) for x in range(columns)] for y in range(rows)]
    return tuple(
        "".join(
            _QUADRANTS[
                dots[y][x] + 2 * dots[y][x + 1] + 4 * dots[y + 1][x] + 8 * dots[y + 1][x + 1]
            ]
            for x in range(0, columns, 2)
        )
        for y in range(0, rows, 2)
    )


def _is_set(bitmap: tuple[str, ...], x: int, y: int, scale: int) -> bool:
    """Return whether a quarter cell is inked; x counts quarters, y half-rows."""
    if y >= 5 * scale:
        return False
    pixel = bitmap[y // scale][x // (2 * scale)]
    if pixel in ".#":
        return pixel == "#"
    across, down = x % (2 * scale), y % scale
    if pixel in "bd":
        across = 2 * scale - 1 - across
    if pixel in "cd":
        down = scale - 1 - down
    # A cell is about twice as high as wide, so a quarter cell is about square.
    return across + down >= (scale + 1) // 2
