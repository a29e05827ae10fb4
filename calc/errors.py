"""The one error that the engineering raises for input it cannot work with."""


class WorkingError(ValueError):
    """An input that a working cannot use, with the argument at fault and a sentence that says the way out.

    Parameters
    ----------
    argument : name of the input at fault, as the caller spelled it
    sentence : what is wrong and what to do about it, in plain words

    >>> str(WorkingError("diameter", "The diameter must be above zero."))
    'The diameter must be above zero.'
    """

    def __init__(self, argument: str, sentence: str) -> None:
        super().__init__(sentence)
        self.argument = argument
        self.sentence = sentence
