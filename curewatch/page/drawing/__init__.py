"""Parts of the page: pure functions from documents to HTML, every text of them written safely."""
