"""What a form sent that nobody has signed in for."""

from typing import Annotated

from fastapi import Depends, Request


async def unsigned(request: Request) -> dict[str, str]:
    """Return the fields of a form as text by name."""
    form = await request.form(max_files=0, max_fields=50)
    return {name: value for name, value in form.items() if isinstance(value, str)}


Unsigned = Annotated[dict[str, str], Depends(unsigned)]
