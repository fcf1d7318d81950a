"""How the population scripts say a share: counts, percent, and the 95 % interval."""
import math


def wilson(hits, of, z=1.959964):
    """95 % interval of a share (Wilson 1927, Journal of the American Statistical Association 22, 209-212); none of nothing."""
    if not of:
        return (0.0, 1.0)
    share, squared = hits / of, z * z / of
    middle = (share + squared / 2) / (1 + squared)
    half = z / (1 + squared) * math.sqrt(share * (1 - share) / of + squared / (4 * of))
    return (max(0.0, middle - half), min(1.0, middle + half))


def share_text(hits, of):
    """"348 of 351, 99.1 % (97.5 to 99.7)"."""
    hits, of = int(hits), int(of)
    if not of:
        return "0 of 0"
    low, high = wilson(hits, of)
    return f"{hits} of {of}, {100 * hits / of:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def share_of(marks):
    """The same of a list of right and wrong."""
    marks = [bool(one) for one in marks]
    return share_text(sum(marks), len(marks))
