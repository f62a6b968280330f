"""Costs in words."""

NO_CURRENCY = 'Costs are in the job\'s money; currency = "EUR" (or the like) under [job] names it.'


def money(amount: float, currency: str) -> str:
    """An amount of the job's money, with the currency where the job names one.

    >>> money(0.456, "EUR"), money(0.456, "")
    ('0.46 EUR', '0.46')
    """
    return f"{amount:.2f} {currency}".rstrip()
