//! Reading files: syntax, keys, types, format version.
