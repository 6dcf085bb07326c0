"""What is not answered, and why; told to whoever asks."""

from http import HTTPStatus


class Refused(Exception):
    """A request that is not answered; `status`, and a sentence for whoever asks."""

    def __init__(self, status: HTTPStatus, why: str):
        super().__init__(why)
        self.status = status
