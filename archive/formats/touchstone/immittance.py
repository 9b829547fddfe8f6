"""From Z, Y, H and G parameters to scattering parameters.

With e = +1 at a port that is driven by its current (Z; port 1 of H) and -1 at one driven by its voltage, the drive is
x = a - e b and the response y = a + e b in waves normalised to the reference of each port; so y = M x gives
S = E (I + M)^-1 (M - I). M is normalised: M[i, j] = r[i]^(-e[i]/2) M[i, j] r[j]^(-e[j]/2), which for one r is Z/r, Y r,
and h11/r, h12, h21, h22 r. Files of version 1 hold M normalised to R, files of version 2 in ohm and siemens
(Touchstone 1.1 and 2.0, from memory).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from archive.formats.touchstone.network import SetAside

REASON = "this file is sound, but holds no scattering parameters"
_DRIVEN = {"Z": (1.0,), "Y": (-1.0,), "H": (1.0, -1.0), "G": (-1.0, 1.0)}


def obstacle(parameter: str, ports: int, layout: str, *, mixed: bool) -> str:
    """Why parameters of this kind are not converted to S; "" where they are."""
    if mixed:
        return f"{parameter}-parameters in mixed mode"
    if parameter in "HG" and ports != 2:
        return f"{parameter}-parameters of {ports} port{'s' * (ports > 1)}"
    return f"half a matrix of {parameter}-parameters" if parameter in "HG" and layout in ("lower", "upper") else ""


def scattering(values: Any, parameter: str, ohm: Any, *, normalised: bool) -> Any:
    """Matrices (F, N, N) of Z, Y, H or G as matrices of S at the reference impedances ohm (N,), real and positive.

    Values that are not finite come through as they are, for the reader to report by their place.
    Errors: SetAside where the file is normalised to several impedances, or a matrix has no S.
    """
    if not np.isfinite(values).all():
        return values
    if normalised and len(set(ohm.tolist())) > 1:
        raise SetAside(
            REASON,
            found=f"{parameter}-parameters that are normalised to more than one impedance",
            expected="S-parameters, or one impedance",
            remedy="export the measurement as S-parameters",
        )
    ports = values.shape[-1]
    e = np.resize(_DRIVEN[parameter], ports)
    weight = np.ones(ports) if normalised else ohm ** (-e / 2)
    m = weight[:, None] * values * weight
    one = np.eye(ports)
    try:
        s = e[:, None] * np.linalg.solve(one + m, m - one)
    except np.linalg.LinAlgError:
        s = np.full_like(m, np.nan)
    if not np.isfinite(s).all():
        raise SetAside(
            REASON,
            found=f"{parameter}-parameters to which no S-parameters belong at some frequency",
            expected="S-parameters, or the parameters of a passive network",
            remedy="export the measurement as S-parameters",
        )
    return s
