//! What people and other programs get to read: tables, pictures, files.

pub mod picture;
pub mod profile_picture;
pub mod winds;
pub mod write_file;
