"""Block averages of readings in bounded memory: neighbours are merged in pairs whenever the window is full."""

BLOCK_S = 0.5
"""Width of a block at first, s; 1 s once blocks have been merged."""

MOST_BLOCKS = 24

LONGEST_NOISE_MEMORY = 40
"""Blocks over which differences of readings are averaged at most, weights rising with the cube of their number."""


class BlockWindow:
    """Blocks, oldest first, as four parallel lists of at most 24 numbers, and averages of first differences.

    t_s, y_mV: averages; spread_s2: half the variance of the readings' times in the block; weights: readings.
    squares, products: weighted sums of squared first differences of readings and of neighbouring differences' products,
    mV², each block's own slope removed; freedom: what `squares` counts for. Newer blocks weigh more (third power of
    the block's number): while the potential still runs, its curvature looks like noise.
    """

    __slots__ = ("freedom", "products", "spread_s2", "squares", "stored", "t_s", "weights", "width_s", "y_mV")

    def __init__(self) -> None:
        self.t_s: list[float] = []
        self.y_mV: list[float] = []
        self.spread_s2: list[float] = []
        self.weights: list[float] = []
        self.squares = self.products = self.freedom = 0.0
        self.stored = 0
        self.width_s = BLOCK_S

    def __len__(self) -> int:
        return len(self.t_s)

    def append(self, t_s: float, y_mV: float, spread_s2: float, weight: float) -> None:
        """Add the newest block; merge neighbours in pairs first where the window is full."""
        if len(self.t_s) >= MOST_BLOCKS:
            self._merge()
        self.t_s.append(t_s)
        self.y_mV.append(y_mV)
        self.spread_s2.append(spread_s2)
        self.weights.append(weight)

    def note_differences(self, squares: float, products: float, freedom: float) -> None:
        """Add the newest block's differences, the older ones' weights lowered."""
        if self.stored < LONGEST_NOISE_MEMORY:
            self.stored += 1
        keep = (1.0 - 1.0 / self.stored) ** 3
        self.squares = self.squares * keep + squares
        self.products = self.products * keep + products
        self.freedom = self.freedom * keep + freedom

    def drop_oldest(self, count: int) -> None:
        """Forget the oldest blocks."""
        for column in (self.t_s, self.y_mV, self.spread_s2, self.weights):
            del column[:count]

    def _merge(self) -> None:
        n, t = self.weights, self.t_s
        pairs = list(zip(n[::2], n[1::2], strict=True))
        between = [0.5 * p * q * ((b - a) / (p + q)) ** 2 for a, b, (p, q) in zip(t[::2], t[1::2], pairs, strict=True)]
        for column in (self.spread_s2, self.y_mV, self.t_s):
            column[:] = [
                (a * p + b * q) / (p + q) for a, b, (p, q) in zip(column[::2], column[1::2], pairs, strict=True)
            ]
        self.spread_s2[:] = [a + b for a, b in zip(self.spread_s2, between, strict=True)]
        self.weights[:] = [p + q for p, q in pairs]
        self.width_s = 2.0 * BLOCK_S
