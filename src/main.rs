//! The `lowspot` program; all of it is in the library's `cli`.

fn main() -> std::process::ExitCode {
    lowspot::cli::main()
}
