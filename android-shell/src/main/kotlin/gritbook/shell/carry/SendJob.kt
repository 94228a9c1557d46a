package gritbook.shell.carry

import android.app.job.JobInfo
import android.app.job.JobParameters
import android.app.job.JobScheduler
import android.app.job.JobService
import android.content.ComponentName
import android.content.Context
import gritbook.core.RunEnd
import gritbook.core.RunReport
import gritbook.shell.App
import gritbook.shell.frame.Clock

/** Carries what waits while nobody looks. The system says when there is a network; how long to wait after a failure the book says. */
class SendJob : JobService() {
    private var run: OutboxRun? = null

    override fun onStartJob(parameters: JobParameters): Boolean {
        val app = application as App
        val started = OutboxRun(app.desk, app.prefs, nowPlease = false)
        run = started
        started.start { result ->
            run = null
            result.onSuccess { again(this, it) }
            jobFinished(parameters, result.isFailure)
        }
        return true
    }

    override fun onStopJob(parameters: JobParameters): Boolean {
        run?.cancel()
        return true
    }

    companion object {
        const val ID = 1

        /** Asks the system to run it once there is a network and power to spare, not before [afterMs]. */
        fun schedule(context: Context, afterMs: Long) {
            val job = JobInfo.Builder(ID, ComponentName(context, SendJob::class.java))
                .setRequiredNetworkType(JobInfo.NETWORK_TYPE_ANY)
                .setRequiresBatteryNotLow(true)
                .setMinimumLatency(afterMs)
                .build()
            scheduler(context).schedule(job)
        }

        /** Whether the system was asked already. */
        fun asked(context: Context) = scheduler(context).getPendingJob(ID) != null

        private fun scheduler(context: Context) = context.getSystemService(Context.JOB_SCHEDULER_SERVICE) as JobScheduler

        /** After a run that had to stop: at the moment that the book named. */
        fun again(context: Context, report: RunReport?) {
            val end = report?.ended
            if (end is RunEnd.Paused) schedule(context, (end.untilMs - Clock.now().utcMs).coerceAtLeast(1_000))
        }
    }
}
