//! JSON Schemas and field tables from the file types.
