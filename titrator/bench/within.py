"""How far resets in the midst of a motion may have put the count wrong."""

from firmware_protocol.messages import Welcome


class Within:
    """`steps` is what this run's total may be off by; `on_board` is what the board said of its count last."""

    def __init__(self) -> None:
        self.steps = 0
        self.on_board = 0

    def since(self, welcome: Welcome) -> int:
        """What came on top by the resets since the board said it last."""
        return max(0, welcome.position_within - self.on_board)

    def met(self, welcome: Welcome, since: int) -> None:
        """The board says so now, and so much of it is this run's."""
        self.on_board = welcome.position_within
        self.steps += since

    def found_home(self) -> None:
        """The count is exact again; what was delivered before is not."""
        self.on_board = 0
