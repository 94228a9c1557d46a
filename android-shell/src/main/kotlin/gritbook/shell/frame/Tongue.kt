package gritbook.shell.frame

import android.content.Context
import gritbook.core.Words

/** Which of the book's two languages the phone speaks now. */
fun Context.spanish(): Boolean = resources.configuration.locales[0].language == "es"

/** The book's words in the phone's language. */
fun Context.say(words: Words): String = if (spanish()) words.es else words.en

/** With a capital, as it stands alone on a key. */
fun String.capital(): String = replaceFirstChar { it.uppercase() }
