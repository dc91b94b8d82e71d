"""The interface described as OpenAPI 3.1 has it, from the same declarations as its answers."""

from __future__ import annotations

import re
from typing import Any

from inventory.reader import answers
from inventory.reader.answers import ENDPOINTS, Endpoint, Parameter
from inventory.reader.shapes import MEASURE, PROBLEM, Schema, Shape

VERSION = "1.0.0"
#: What may go wrong anywhere, by status.
_PROBLEMS = {
    "400": "A parameter cannot be understood.",
    "401": "Nobody is signed in, or the token opens nothing.",
    "404": "There is nothing of that name.",
    "405": "It only reads.",
}


def description(server: str) -> dict[str, Any]:
    """The OpenAPI document. server: the address of the interface, without a slash at its end."""
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Carknocker, for reading",
            "version": VERSION,
            "description": (
                "Reads what a Carknocker keeps: vehicles with their readings and verdicts, "
                "tracks and what fits them, what is out of service. Decimals are text with their "
                "unit; uncertainties and probabilities are numbers. Lists come in pages: follow "
                "“next”. Every answer has an ETag; send it back in If-None-Match."
            ),
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "servers": [{"url": server}],
        "security": [{"token": []}, {"session": []}],
        "paths": {f"/{plain_path(each)}": {"get": _operation(each)} for each in ENDPOINTS},
        "components": {
            "securitySchemes": {
                "token": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "A reading token, made under Set-up.",
                },
                "session": {"type": "apiKey", "in": "cookie", "name": "sessionid"},
            },
            "headers": {
                "ETag": {"description": "A tag of the content.", "schema": {"type": "string"}}
            },
            "schemas": {shape.name: shape.schema for shape in shapes()},
            "responses": {
                status: {
                    "description": words,
                    "content": {"application/problem+json": {"schema": PROBLEM.reference}},
                }
                for status, words in _PROBLEMS.items()
            },
        },
    }


def plain_path(endpoint: Endpoint) -> str:
    """The path with its parts in braces: vehicles/{uid}/."""
    return re.sub(r"<\w+:(\w+)>", r"{\1}", endpoint.path)


def shapes() -> list[Shape]:
    """Every shape that an answer may refer to, each once."""
    found = {each.name: each for each in vars(answers).values() if isinstance(each, Shape)}
    for endpoint in ENDPOINTS:
        found[endpoint.answer.name] = endpoint.answer
    found |= {MEASURE.name: MEASURE, PROBLEM.name: PROBLEM}
    return [found[name] for name in sorted(found)]


def _operation(endpoint: Endpoint) -> dict[str, Any]:
    return {
        "operationId": endpoint.name,
        "summary": endpoint.summary,
        "description": endpoint.means,
        "parameters": [
            *(
                {"name": name, "in": "path", "required": True, "schema": schema,
                 "description": means}
                for name, (schema, means, _) in endpoint.parts.items()
            ),
            *map(_parameter, endpoint.parameters),
            {
                "name": "If-None-Match",
                "in": "header",
                "schema": {"type": "string"},
                "description": "The ETag of an answer that you have.",
            },
        ],
        "responses": {
            "200": {
                "description": endpoint.answer.means,
                "headers": {"ETag": {"$ref": "#/components/headers/ETag"}},
                "content": {
                    "application/json": {
                        "schema": endpoint.answer.reference,
                        "example": endpoint.answer.example,
                    }
                },
            },
            "304": {"description": "You have it already."},
            **{status: {"$ref": f"#/components/responses/{status}"} for status in _PROBLEMS},
        },
    }  # fmt: skip


def _parameter(parameter: Parameter) -> Schema:
    return {
        "name": parameter.name,
        "in": "query",
        "schema": parameter.schema,
        "description": parameter.means,
    }
