package gritbook.shell.carry

import android.content.Context

/** When what waits is carried. */
object Sending {
    /** As soon as the system has a network and power to spare. */
    fun soon(context: Context) = SendJob.schedule(context, 0)

    /** The same, where the system was not asked already: a wait that the book named is kept. */
    fun unlessAsked(context: Context) {
        if (!SendJob.asked(context)) soon(context)
    }
}
