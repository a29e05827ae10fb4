"""How lists are cut into pages."""

from rest_framework.pagination import CursorPagination, PageNumberPagination


class NumberedPages(PageNumberPagination):
    """Pages by number; `page_size` up to 200."""

    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 200
    invalid_page_message = "There is no such page."


class CursorPages(CursorPagination):
    """Pages by cursor, newest first, for lists that grow while somebody reads them: moves and runs."""

    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 200
    ordering = "-id"
    invalid_cursor_message = "The cursor cannot be read. Begin again without one."
