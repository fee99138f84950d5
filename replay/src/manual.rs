//! `completions` and `man`: what the command line definition itself can print.

use crate::args::{Arguments, CompletionArgs, ManualArgs};
use crate::console::Console;
use crate::failure::{Exit, Failure};
use clap::CommandFactory;

/// Prints the completion script of a shell.
pub fn print_completions(
    args: &CompletionArgs,
    console: &mut Console<'_>,
) -> Result<Exit, Failure> {
    // Into a buffer first: the generator panics when its writer fails (closed pipe).
    let mut script = Vec::new();
    clap_complete::generate(
        args.shell,
        &mut Arguments::command(),
        "kerfwatch-replay",
        &mut script,
    );
    console.data(&script)?;
    Ok(Exit::Well)
}

/// Prints the manual page, or writes all pages.
pub fn print_manual(args: &ManualArgs, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let command = Arguments::command();
    match &args.out {
        None => {
            let mut page = Vec::new();
            clap_mangen::Man::new(command)
                .render(&mut page)
                .map_err(|source| Failure::write("manual page", source))?;
            console.data(&page)?;
        }
        Some(folder) => {
            std::fs::create_dir_all(folder)
                .and_then(|()| clap_mangen::generate_to(command, folder))
                .map_err(|source| Failure::write(folder.display(), source))?;
            console.talk(format_args!("manual pages written to {}", folder.display()));
        }
    }
    Ok(Exit::Well)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn command_line_definition_is_consistent() {
        Arguments::command().debug_assert();
    }
}
