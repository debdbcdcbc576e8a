"""Show: from an audit to sentences, pictures, the page and the wallet card."""
